"""What a weigh-up says: immutable records that reports, pages and commands print."""

from __future__ import annotations

from dataclasses import dataclass

from wetmount.evidence import Evidence


@dataclass(frozen=True, slots=True)
class ConditionResult:
    """One condition before and after the evidence; all figures are probabilities, 0 to 1.

    `prior` counts host, temperature and history but no finding. `probability` is the chance that the condition is
    present. `responsible` is the chance that it is present and itself brought at least one of the findings of
    illness. `low` and `high` are the 5th and 95th percentile of `responsible` when the tables are redrawn within
    their uncertainty (None where that was not computed).
    """

    id: str
    name: str
    prior: float
    probability: float
    responsible: float
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Explanation:
    """A set of conditions that together brought the findings, and its share of the belief.

    An empty set says that causes outside the tables brought all of them.
    """

    conditions: tuple[str, ...]
    probability: float


@dataclass(frozen=True, slots=True)
class Reason:
    """How much one finding (or answer) speaks for a condition: `weight` is log10 of the factor on its odds.

    `findings` holds one finding id, or several where they count as one (the signs of being unwell); `level` is the
    level that was reported, 0 for looked and not seen. History answers have level 1 for yes, 0 for no. For host and
    temperature `findings` is ("host",) or ("temperature",).
    """

    findings: tuple[str, ...]
    level: int
    weight: float


@dataclass(frozen=True, slots=True)
class Unexplained:
    """A finding that was seen and that, with this probability, no condition of the tables brought."""

    findings: tuple[str, ...]
    level: int
    probability: float


@dataclass(frozen=True, slots=True)
class OpenedTheWay:
    """A predisposing condition (`parent`, present with `probability`) that raises the odds of `condition`."""

    condition: str
    parent: str
    probability: float
    odds: float


@dataclass(frozen=True, slots=True)
class Firmness:
    """How often the leading condition stays first when the tables are redrawn within their uncertainty."""

    leading: str
    share: float
    redraws: int
    runner_up: str | None
    runner_up_share: float


@dataclass(frozen=True, slots=True)
class NextExamination:
    """What an examination not yet done is expected to tell, and its price.

    `information_bits` is the expected mutual information between what is present and what the examination would
    show. `changes_leading` is the chance that another condition would lead afterwards. `worth` is information per
    unit of cost, by which the list is ordered. `advice` is one sentence, for a laboratory test whether it is worth
    its price.
    """

    id: str
    name: str
    information_bits: float
    changes_leading: float
    minutes: float
    money: float
    gives_up_fish: bool
    laboratory: bool
    worth: float
    advice: str


@dataclass(frozen=True, slots=True)
class Warning_:
    """A notifiable or zoonotic condition whose probability is over the stated threshold, leading or not."""

    kind: str
    condition: str
    probability: float
    text: str


@dataclass(frozen=True, slots=True)
class WeighUp:
    """The whole weigh-up of one look, conditions in rank order (responsible first, then present).

    `unfinished` are base looks (asking, counting, looking at the fish) of which less than half was looked at;
    `next_examinations` are those that need an instrument, by information per cost.
    """

    conditions: tuple[ConditionResult, ...]
    explanations: tuple[Explanation, ...]
    remaining_probability: float
    exact: bool
    approximation: str | None
    state_bits: float
    log_evidence: float
    reasons: dict[str, tuple[Reason, ...]]
    unexplained: tuple[Unexplained, ...]
    opened_the_way: tuple[OpenedTheWay, ...]
    firmness: Firmness | None
    memory_share: float | None
    next_examinations: tuple[NextExamination, ...] | None
    unfinished: tuple[NextExamination, ...]
    warnings: tuple[Warning_, ...]
    evidence: Evidence
    reference_version: str

    def condition(self, id: str) -> ConditionResult:
        """The result of one condition by its id; KeyError when there is none."""
        for result in self.conditions:
            if result.id == id:
                return result
        raise KeyError(id)

"""Runs the chains until they agree, or says that they do not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from wetmount.origin.diagnostics import ESS_GOOD, ess_bulk, ess_tail, r_hat
from wetmount.origin.model import Model
from wetmount.origin.recorder import Kept, Recorder
from wetmount.origin.results import Convergence
from wetmount.origin.sampler import Sampler

Array = NDArray[np.float64]

PAIRS: Final = 16
"""Plain chains, and as many that explore."""
CHUNK: Final = 40
"""Sweeps between two looks at convergence."""
FIRST_CHUNK: Final = 16
"""Sweeps before the first, rough result is shown."""
LEAST_SWEEPS: Final = 160
"""Fewer are never called agreement: by chance all may look well at an early look."""
MOST_SWEEPS: Final = 1200
R_HAT_ENOUGH: Final = 1.02
"""R-hat taken as agreement. Vehtari et al. ask for 1.01 with 4 chains; with 16, whose 32 halves scatter more, as many
effective samples leave R-hat at about 1 + 16/ESS, so 1.02 asks for some 800 where four chains at 1.01 need 400."""
LEAST_SHARE: Final = 0.02
"""Candidates whose probability is followed for convergence have at least this."""


def sample(
    model: Model,
    *,
    seed: int,
    pairs: int = PAIRS,
    most_sweeps: int = MOST_SWEEPS,
    on_part: Callable[[Kept, Convergence], object] | None = None,
    cancel: Callable[[], bool] | None = None,
) -> tuple[Kept, Convergence]:
    """Samples of the posterior, the first third of each chain left out, and whether the chains agree.

    `on_part` is called with what there is after FIRST_CHUNK sweeps and then after every CHUNK; `cancel` is asked after
    every sweep and stops when it answers yes.
    """
    sampler = Sampler(model, pairs, np.random.default_rng(seed))
    recorder = Recorder(sampler)
    done, look, stopped = 0, FIRST_CHUNK, False
    while True:
        while done < look and not stopped:
            sampler.sweep()
            recorder.record()
            done += 1
            stopped = cancel is not None and cancel()
        kept = recorder.kept.settled()
        convergence = judge(model, kept, done, stopped)
        if convergence.converged or stopped or done >= most_sweeps:
            return kept, convergence
        if on_part is not None:
            on_part(kept, convergence)
        look = CHUNK if look == FIRST_CHUNK else min(most_sweeps, look + CHUNK)


def followed(model: Model, kept: Kept) -> dict[str, NDArray[Any]]:
    """Quantities whose convergence is watched, each (chains, draws)."""
    day, origin, rates = (np.stack(part, axis=1) for part in (kept.day, kept.origin, kept.log_rates))
    first = np.stack(kept.first, axis=1)
    share = origin.mean(axis=(0, 1))
    found: dict[str, NDArray[Any]] = {
        f"chance of {model.entries[place].key}": origin[:, :, place] for place in np.flatnonzero(share >= LEAST_SHARE)
    }
    found["day it came in"] = np.take_along_axis(day, first[:, :, None], axis=2)[:, :, 0].astype(float)
    found["tanks infected"] = (day < model.links.days).sum(axis=2).astype(float)
    found["days of infection, summed"] = day.sum(axis=2).astype(float)
    for place, kind in enumerate(model.kinds):
        found[f"rate of {kind}"] = rates[:, :, place]
    return found


def judge(model: Model, kept: Kept, sweeps: int, stopped: bool) -> Convergence:
    """The worst R-hat and effective sizes of all quantities followed."""
    chains = kept.day[0].shape[0]
    hats: dict[str, float] = {}
    bulks, tails = [], []
    if len(kept.day) >= 4:
        for name, draws in followed(model, kept).items():
            # a quantity that never changes has nothing to converge to
            if np.ptp(draws) > 0:
                hats[name] = r_hat(draws)
                bulks.append(ess_bulk(draws))
                tails.append(ess_tail(draws))
    worst = max(hats, key=lambda name: hats[name], default="")
    highest = hats.get(worst, float("inf"))
    bulk = min(bulks, default=0.0)
    tail = float(np.nanmin(tails)) if tails and not np.isnan(tails).all() else bulk
    good = sweeps >= LEAST_SWEEPS and highest <= R_HAT_ENOUGH and min(bulk, tail) >= ESS_GOOD
    figures = f"R-hat {highest:.3f}, effective samples {bulk:.0f} in the middle and {tail:.0f} in the tails at worst"
    if good:
        sentence = f"{chains} chains agree after {sweeps} sweeps ({figures})."
    elif stopped:
        sentence = (
            f"Stopped after {sweeps} sweeps, before {chains} chains agreed ({figures}; {worst}): a first idea only."
        )
    else:
        sentence = f"Not converged: {chains} chains do not yet agree after {sweeps} sweeps ({figures}; {worst})."
    return Convergence(chains, sweeps, highest, bulk, tail, worst, good, stopped, sentence)

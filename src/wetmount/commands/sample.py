"""`wetmount sample`: how many fish to examine, and what a clean sample proves."""

from __future__ import annotations

from typing import Any

import click

from wetmount.commands.common import console, lines
from wetmount.errors import InputError

SCHEMA = "wetmount.sample/1"


@click.command(name="sample")
@click.option("--group", type=int, metavar="N", help="Fish in the group; without it the group is taken as unlimited.")
@click.option(
    "--prevalence", type=float, default=0.1, show_default=True, metavar="SHARE", help="Share infected to find."
)
@click.option("--confidence", type=float, default=0.95, show_default=True, metavar="SHARE", help="Wanted confidence.")
@click.option("--sensitivity", type=float, default=1.0, show_default=True, metavar="SHARE", help="Infected fish found.")
@click.option(
    "--specificity", type=float, default=1.0, show_default=True, metavar="SHARE", help="Clean fish left clean."
)
@click.option("--clean", type=int, metavar="N", help="Fish already examined, all clean: what does that prove?")
@click.option("--prior", type=float, metavar="SHARE", help="Chance held before that the group is infected.")
@click.option("--pool", type=int, metavar="N", help="Fish tested together: how many pools.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    group: int | None,
    prevalence: float,
    confidence: float,
    sensitivity: float,
    specificity: float,
    clean: int | None,
    prior: float | None,
    pool: int | None,
    as_json: bool,
) -> None:
    """How many fish to examine to find a condition, and what a clean sample proves.

    Exact: hypergeometric in a group of known size. The number infected is the group times --prevalence, rounded up.
    """
    import msgspec

    from wetmount.sampling import clean_sample, fish_to_sample, pools_needed

    if prior is not None and clean is None:
        raise InputError("only with --clean: the fish examined so far", field="--prior")
    whole = "an unlimited group" if group is None else f"{group} fish"
    needed = fish_to_sample(group, prevalence, confidence=confidence, sensitivity=sensitivity, specificity=specificity)
    data: dict[str, Any] = {"schema": SCHEMA, "needed": msgspec.to_builtins(needed)}
    out = []
    if needed.fish is None:
        out.append(("", f"[bold]Not reachable[/]: even all of {whole} would find it with {needed.reached:.1%} only"))
    else:
        assumed = f", that is {needed.infected} infected" if needed.infected is not None else ""
        out.append(
            (
                "",
                f"[bold]Examine {needed.fish} fish[/] out of {whole} to find {prevalence:.1%}{assumed}: "
                f"found with {needed.reached:.1%}",
            )
        )
        if specificity < 1:
            out.append(
                (
                    "",
                    f"hold the group free with up to {needed.allowed_positives} positives; a free group shows "
                    f"more in {needed.false_alarm:.1%}",
                )
            )
    if clean is not None:
        proof = clean_sample(
            group, clean, sensitivity=sensitivity, confidence=confidence, prevalence=prevalence, prior_infected=prior
        )
        data["clean"] = msgspec.to_builtins(proof)
        most = "" if proof.upper_infected is None else f", that is {proof.upper_infected} fish"
        out.append(
            (
                "",
                f"[bold]{clean} clean fish[/]: up to {proof.upper_prevalence:.1%} could still be infected{most} "
                f"({confidence:.0%}); {prevalence:.1%} would have shown with {proof.chance_found:.1%}",
            )
        )
        if proof.free_probability is not None:
            out.append(("", f"probability that the group is free of {prevalence:.1%}: {proof.free_probability:.1%}"))
    if pool is not None:
        pools = pools_needed(prevalence, pool, pool_sensitivity=sensitivity, confidence=confidence)
        data["pools"] = pools
        out.append(("", f"{pools} pools of {pool} fish, {pools * pool} fish in all, as from an unlimited group"))
    out.append(("", "[dim]Holds for fish drawn at random: net from everywhere, and take the sick ones besides."))
    if as_json:
        import msgspec.json

        click.echo(msgspec.json.encode(data))  # an open end of an interval becomes null
        return
    lines(console(), out)

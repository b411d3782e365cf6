"""The water a case's fish live in, as the fish room knows it: how much there is, and which other fish share it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from wetmount.casebook.models import Case, Move, System, Tank
from wetmount.casebook.stock import stock_after
from wetmount.volume import Volume, volume_from_label


@dataclass(frozen=True, slots=True)
class SharedWater:
    """The place that is dosed as one, its volume if it is known, and the species and origins of the fish in it."""

    name: str
    volume: Volume | None
    species: tuple[str, ...]
    origins: tuple[str, ...] = ()


def shared_water(case: Case, on: dt.date) -> SharedWater:
    """The system the case's tank is on, else the tank; without either nothing is known. Three queries at most.

    A volume that was worked out or measured has its range; one that was only noted is taken as a label's litres.
    """
    tank = case.tank
    system = tank.system if tank is not None else case.system
    place = system or tank
    if place is None:
        return SharedWater("", None, ())
    tanks = set(Tank.objects.filter(system=system).values_list("pk", flat=True)) if system is not None else {place.pk}
    batches = Move.objects.filter(kind="fish", to_tank__in=tanks, on__lte=on).values("batch")
    moves = Move.objects.filter(kind="fish", batch__in=batches, on__lte=on)
    stock = stock_after(moves.select_related("batch", "from_tank").order_by("on", "pk"))
    batches_in = [lot.batch for pk in sorted(tanks) for lot in stock.in_tank(pk) if lot.number != 0]
    species = tuple(dict.fromkeys(batch.species for batch in batches_in))
    origins = tuple(sorted({batch.origin for batch in batches_in if batch.origin}))
    return SharedWater(place.name, _volume(place), species, origins)


def _volume(place: System | Tank) -> Volume | None:
    if place.volume_l is None or place.volume_l <= 0:
        return None
    if place.volume_low_l is not None and place.volume_high_l is not None:
        return Volume(place.volume_low_l, place.volume_l, place.volume_high_l, (f"worked out for {place.name}",))
    guess = volume_from_label(place.volume_l)
    noted = f"{place.volume_l:.1f}".removesuffix(".0")
    return Volume(guess.low_l, guess.best_l, guess.high_l, (f"guessed from {noted} L noted for {place.name}",))

"""The clock of the machine the casebook runs on. Moments are kept in UTC; a day is a day on this clock."""

from __future__ import annotations

import datetime as dt
import time

from django.utils import timezone

_EPOCH = dt.datetime(1970, 1, 1)


class _Local(dt.tzinfo):
    """The machine's own zone, summer time included, whichever way the platform keeps it."""

    def _parts(self, moment: dt.datetime | None) -> time.struct_time:
        if moment is None:
            return time.localtime()
        wall = (moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second, 0, 0, -1)
        try:
            return time.localtime(time.mktime(wall))
        except (OverflowError, ValueError, OSError):  # years the platform's clock does not know
            return time.gmtime(0)

    def utcoffset(self, moment: dt.datetime | None) -> dt.timedelta:
        return dt.timedelta(seconds=self._parts(moment).tm_gmtoff)

    def dst(self, moment: dt.datetime | None) -> dt.timedelta:
        return dt.timedelta(hours=max(self._parts(moment).tm_isdst, 0))

    def tzname(self, moment: dt.datetime | None) -> str:
        return self._parts(moment).tm_zone

    def fromutc(self, moment: dt.datetime) -> dt.datetime:
        naive = moment.replace(tzinfo=None)
        offset = time.localtime((naive - _EPOCH).total_seconds()).tm_gmtoff
        return (naive + dt.timedelta(seconds=offset)).replace(tzinfo=self)


LOCAL = _Local()


def now() -> dt.datetime:
    """This moment, in UTC."""
    return timezone.now()


def today() -> dt.date:
    """The date on this machine."""
    return dt.date.today()

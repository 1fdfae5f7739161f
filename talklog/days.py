"""Days and durations: when something said on a day is due. RFC 3339 dates, ISO 8601 durations."""

from __future__ import annotations

import calendar
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from talklog.notes import Due, FollowUp, Notes

_DURATION = re.compile(
    r"^P(?:(?P<Y>\d+)Y)?(?:(?P<M>\d+)M)?(?:(?P<W>\d+)W)?(?:(?P<D>\d+)D)?"
    r"(?:T(?:(?P<h>\d+)H)?(?:(?P<m>\d+)M)?(?:(?P<s>\d+)S)?)?$"
)
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
SOON = {
    **{"today": 0, "tonight": 0, "this afternoon": 0},
    **{"tomorrow": 1, "tomorrow morning": 1, "tomorrow afternoon": 1, "in the morning": 1},
    **{"in a fortnight": 14},
}
# Events that a calendar knows roughly, in days; all others are due when somebody says that they
# happened.
LATER = {"next week": 7, "next month": 30, "next year": 365}


def utc_of(moment: str) -> str:
    """A time of RFC 3339 in UTC, as text that sorts: "2026-11-25T08:30:00.000000Z"."""
    text = moment.upper().replace(":60", ":59", 1) if moment[17:19] == "60" else moment.upper()
    return datetime.fromisoformat(text).astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def day_of(moment: str) -> date:
    """The day in the place where the time was written down."""
    return date.fromisoformat(moment[:10])


def after(day: date, duration: str) -> date | None:
    """The day that lies a duration after another; hours count as whole days, rounded up.

    31 January and P1M -> the last of February. ``None`` for a duration that is none, or too long.
    """
    found = _DURATION.match(duration)
    if not found:
        return None
    parts = {name: int(text or 0) for name, text in found.groupdict().items()}
    try:
        shifted = _months_after(day, 12 * parts["Y"] + parts["M"])
        clock = timedelta(hours=parts["h"], minutes=parts["m"], seconds=parts["s"])
        return shifted + timedelta(
            weeks=parts["W"], days=parts["D"] - (-clock // timedelta(days=1))
        )
    except (OverflowError, ValueError):
        return None


def _months_after(day: date, months: int) -> date:
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return date(year, month + 1, min(day.day, last))


def of_event(day: date, event: str) -> date | None:
    """The day of an event named by the calendar: "friday" is the next one after the day itself."""
    if event in WEEKDAYS:
        return day + timedelta(days=(WEEKDAYS.index(event) - day.weekday() - 1) % 7 + 1)
    days = {**SOON, **LATER}.get(event)
    return None if days is None else day + timedelta(days=days)


def dated(notes: Notes, day: date | None) -> Notes:
    """Follow-ups due "friday" or "tomorrow" with the date that means, counted from the day of the
    note. "next week" is no date and stays as it was said; without a day everything does."""
    if day is None:
        return notes
    return replace(notes, follow_ups=tuple(_with_date(item, day) for item in notes.follow_ups))


def _with_date(item: FollowUp, day: date) -> FollowUp:
    event = item.due.event if item.due else None
    on = of_event(day, event) if event and event not in LATER else None
    return replace(item, due=Due(date=on.isoformat())) if on else item

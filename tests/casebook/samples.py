"""Cases to test with: plain ones by hand, and any case at all by hypothesis."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import strategies as st

from diagnose import case as c

MAY = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)


def a_case(
    number: int = 1,
    cause: str | None = "trip_rod_worn",
    minutes: float = 12.0,
    machine_type: str | None = "type L",
) -> c.Case:
    """A short case; solved when a cause is given."""
    events: list[c.AnyEvent] = [
        c.MadeSafe(),
        c.Seen(sign="knotters_turned", answers=("late",)),
        c.Checked(check="look_at_trip_rod", found=cause, minutes=minutes),
    ]
    if cause:
        events += [c.Mended(cause=cause), c.Proved(cause=cause, clean_ties=59, failed=False)]
    return c.Case(
        id=f"case-{number:04}",
        opened=MAY + timedelta(hours=number),
        machine=c.Machine(name="Baler A", type=machine_type, knotters=6),
        technician="N. N.",
        events=tuple(events),
    )


_ids = st.from_regex(r"[a-z][a-z0-9_]{0,12}", fullmatch=True)
_zones = st.integers(-14 * 60, 14 * 60).map(lambda m: timezone(timedelta(minutes=m)))
_times = st.datetimes(datetime(1990, 1, 1), datetime(2100, 1, 1), timezones=st.none() | _zones)
_knotters = st.none() | st.integers(1, 12)
_figures = st.floats(allow_nan=False, allow_infinity=False)
_common = {
    "at": st.none() | _times,
    "minutes": st.none() | st.floats(0, 1e6),
}
_characters = st.characters(exclude_categories=["Cs"], exclude_characters="\x00")
_texts = st.text(_characters, max_size=40)
_answers = st.lists(_ids, min_size=1, max_size=3).map(tuple)

events = st.one_of(
    st.builds(c.MadeSafe, **_common),
    st.builds(c.Seen, sign=_ids, answers=_answers, knotter=_knotters, **_common),
    st.builds(c.NotKnown, sign=_ids, **_common),
    st.builds(c.NotNow, step=_ids, **_common),
    st.builds(c.Reading, setting=_ids, value=_figures, unit=_texts, knotter=_knotters, **_common),
    st.builds(c.Logged, code=_texts, count=st.integers(1, 10**9), knotter=_knotters, **_common),
    st.builds(c.Checked, check=_ids, found=st.none() | _ids, knotter=_knotters, **_common),
    st.builds(c.Mended, cause=_ids, setting=st.none() | _ids, before=_figures, **_common),
    st.builds(c.Proved, cause=_ids, clean_ties=st.integers(0, 10**6), failed=st.booleans()),
    st.builds(c.Noted, text=_texts, **_common),
)
machines = st.builds(c.Machine, name=st.none() | _texts, type=st.none() | _texts)
names = st.none() | st.text(min_size=1, max_size=20)


def any_case(ids: st.SearchStrategy[str] = _texts) -> st.SearchStrategy[c.Case]:
    """Any case the program can hold."""
    return st.builds(
        c.Case,
        id=ids,
        rules=st.none() | _texts,
        machine=machines,
        opened=st.none() | _times,
        technician=names,
        customer=names,
        events=st.lists(events, max_size=6).map(tuple),
    )


def related_copies() -> st.SearchStrategy[list[c.Case]]:
    """Copies of two cases as two casebooks may hold them: later states, rivals, names or none."""
    few = st.sampled_from([c.MadeSafe(), c.Noted(text="a"), c.Noted(text="b")])
    copies = st.builds(
        c.Case,
        id=st.sampled_from(["one", "two"]),
        rules=st.sampled_from([None, "1", "2"]),
        opened=st.sampled_from([None, MAY]),
        technician=st.sampled_from([None, "first", "second"]),
        events=st.lists(few, max_size=3).map(tuple),
    )
    return st.lists(copies, max_size=5)

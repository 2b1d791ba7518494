"""A case and its line of JSON are the same thing."""

from __future__ import annotations

import json

import pytest
from hypothesis import given

from diagnose.case import Case
from diagnose.casebook.line import content, digest, from_line, to_line, without_names
from diagnose.errors import InputError, Place
from tests.casebook.samples import a_case, any_case


@given(any_case())
def test_a_case_comes_back_from_its_line_exactly(case: Case) -> None:
    line = to_line(case)
    assert from_line(line) == case
    assert to_line(from_line(line)) == line


@given(any_case())
def test_a_line_is_one_line_of_plain_utf_8_json(case: Case) -> None:
    line = to_line(case)
    assert "\n" not in line
    assert json.loads(line.encode())["id"] == case.id


@given(any_case())
def test_names_change_the_fingerprint_of_a_copy_but_not_of_its_content(case: Case) -> None:
    named = case.model_copy(update={"technician": "A", "customer": "B"})
    assert content(named) == content(case) == digest(without_names(case))
    assert digest(named) != content(named)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "not a case"),
        ("{", "not a case"),
        ('{"id":"x","format":2}', "format"),
        ('{"id":"x","events":[{"kind":"guessed"}]}', "events.0"),
        ('{"id":"x","colour":"red"}', "colour"),
    ],
)
def test_a_line_that_is_no_case_names_what_is_wrong_and_where(text: str, told: str) -> None:
    with pytest.raises(InputError, match=told) as error:
        from_line(text, Place("season.jsonl", 7))
    assert str(error.value).startswith("season.jsonl:7: ")


def test_a_reading_that_is_no_number_is_refused() -> None:
    line = to_line(a_case()).replace('"minutes":12.0', '"minutes":"NaN"')
    with pytest.raises(InputError, match="finite number"):
        from_line(line)

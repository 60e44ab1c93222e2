"""The rows of a table as one test: every row runs, and every row that fails is listed."""

from __future__ import annotations

import inspect

import pytest

from tests.each import each


def test_every_row_runs_and_all_that_fail_are_listed() -> None:
    seen = []

    @each(("number", "half"), [(2, 1), (3, 1), (4, 2), (5, 2)])
    def halves(number: int, half: int) -> None:
        seen.append(number)
        assert number == 2 * half

    with pytest.raises(AssertionError) as caught:
        halves()
    said = str(caught.value).splitlines()
    assert seen == [2, 3, 4, 5]
    assert said[0] == "2 of 4 rows fail"
    assert [line.split(":")[0] for line in said if "AssertionError" in line] == ["3 | 1", "5 | 2"]
    assert isinstance(caught.value.__cause__, AssertionError)


def test_a_row_that_should_have_raised_counts_as_failed() -> None:
    @each("text", ["1", "x"], ids=lambda text: f"text {text}")
    def refused(text: str) -> None:
        with pytest.raises(ValueError, match="invalid"):
            int(text)

    with pytest.raises(AssertionError, match=r"1 of 2 rows fail\ntext 1: Failed: DID NOT RAISE"):
        refused()


def test_what_is_no_row_stays_a_fixture() -> None:
    @each("number", [1, 2])
    def alike(number: int, capsys: pytest.CaptureFixture[str]) -> None:
        print(number, capsys)

    assert list(inspect.signature(alike).parameters) == ["capsys"]


def test_a_table_without_rows_or_with_a_column_too_many_is_refused() -> None:
    for rows in ([], [(1, 2, 3)]):
        with pytest.raises(AssertionError):
            each(("a", "b"), rows)(lambda a, b: None)

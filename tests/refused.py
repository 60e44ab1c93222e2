"""Mistakes in style files, as tests look at them."""

from __future__ import annotations

import pytest

from backing.ground.errors import StyleError
from backing.styles.load import load_text


def refused(text: str, message: str, hint: str) -> None:
    """Assert that a style is refused, and what the first mistake is said to be and how to mend it."""
    with pytest.raises(StyleError) as raised:
        load_text(text, "test")
    told = raised.value.diagnostics[0]
    assert message in told.message
    assert hint in told.hint

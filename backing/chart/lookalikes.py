"""Letters of other alphabets that look like Latin ones.

Source: the Unicode Standard's names of the characters; the pairs are those whose capital or small form is drawn alike in
ordinary typefaces (common knowledge of typesetters).
"""

from __future__ import annotations

CYRILLIC = str.maketrans("АВСЕНІЈКМОРЅТХаеіјорсух" + "ԁһԛѕԝ", "ABCEHIJKMOPSTXaeijopcyx" + "dhqsw")
GREEK = str.maketrans("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧο", "ABEZHIKMNOPTYXo")


def latin(text: str) -> str:
    """The text with look-alikes replaced by the Latin letters that they resemble.

    >>> latin("\\u0421m7")
    'Cm7'
    """
    return text if text.isascii() else text.translate(CYRILLIC).translate(GREEK)

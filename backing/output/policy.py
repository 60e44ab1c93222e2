"""The hash by which a page allows its own style or script and no other.

Source: W3C Content Security Policy level 3, hash-source: `'sha256-` and the base64 of the digest.
"""

from __future__ import annotations

import base64
import hashlib


def hash_of(text: str) -> str:
    """The hash-source of the text of an element.

    >>> hash_of("alert('Hello, world.');")
    "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
    """
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"

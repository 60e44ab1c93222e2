"""Sound as bare Opus packets, for a decoder that lives in a page.

Conventions: 48 kHz, 20 ms a packet; the first `skip` decoded frames come before the sound and are left out, so frame
`n` of the sound is decoded frame `n + skip`.
Sources: RFC 6716 (Opus), RFC 7845 (Opus in Ogg: head, pre-skip, granule positions), RFC 3533 (Ogg pages and lacing).
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from subprocess import Popen

from backing.output.sound.encoder import taken

RATE = 48_000
FRAME = 960  # frames in a packet of 20 ms
_HEAD = struct.Struct("<4sBBqIIIB")


def forget(process: Popen[bytes]) -> None:
    """Nobody will end this encoder before its time."""


@dataclass(frozen=True, slots=True)
class Packets:
    """A sound as packets; `frames` is its length at 48 kHz."""

    channels: int
    skip: int
    frames: int
    packets: tuple[bytes, ...]


def encode(
    path: Path, kbps: int, *, mono: bool = False, begun: Callable[[Popen[bytes]], None] = forget
) -> Packets:
    """A sound file as packets of about `kbps`, `mono` as the mean of its channels; `begun` is given the encoder.

    Raises OSError, `OutputError`, `AudioUnavailable`.
    """
    arguments = [
        *("-i", str(path), "-map_metadata", "-1", "-fflags", "+bitexact", "-flags:a", "+bitexact"),
        *("-c:a", "libopus", "-b:a", f"{kbps}k", "-vbr", "constrained", "-frame_duration", "20"),
        *("-ac", "1" if mono else "2", "-ar", str(RATE), "-f", "ogg"),
    ]
    return read(taken(arguments, begun))


def read(ogg: bytes) -> Packets:
    """Take an Ogg file with one Opus stream apart. Raises ValueError for anything else."""
    packets: list[bytes] = []
    granule = 0
    whole = True  # the last packet read is complete
    at = 0
    while at < len(ogg):
        magic, _, _, here, _, _, _, count = _HEAD.unpack_from(ogg, at)
        if magic != b"OggS":
            raise ValueError("no Ogg page where one should begin")
        granule = max(granule, here)
        lacing = ogg[at + _HEAD.size : at + _HEAD.size + count]
        at += _HEAD.size + count
        for length in lacing:
            piece = ogg[at : at + length]
            if whole:
                packets.append(piece)
            else:
                packets[-1] += piece
            whole = length < 255
            at += length
    head = packets[0]
    if head[:8] != b"OpusHead":
        raise ValueError("the Ogg file holds no Opus stream")
    (skip,) = struct.unpack_from("<H", head, 10)
    return Packets(head[9], skip, granule - skip, tuple(packets[2:]))

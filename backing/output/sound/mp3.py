"""MP3: LAME at work on several parts of a track at once, joined frame by frame.

A part is encoded from a little before its first frame, so that the encoder has settled there, to a little after its
last; what lies outside is dropped. Frames are joined as they are, which is possible because no frame borrows room
from another (no bit reservoir). Where the parts lie depends on the length alone, so that the bytes do not depend on
the machine. In front stand the tags and the frame that says what to leave out at both ends (gapless playback).

Conventions: a *frame* here is 1152 sample pairs at 44.1 kHz; 192 kbit/s, constant.
Sources: ISO/IEC 11172-3 (frame header, frame lengths); the Xing and LAME tag (fields of the `Info` frame, delay and
padding in 12 bits each, CRC-16 of its first 190 bytes; decoders add 529 samples of their own to the delay); ID3v2.3
(TIT2, TPE1, COMM, TENC, TBPM of digits only, TKEY of at most three characters) with its chapter frames CHAP and CTOC.
"""

from __future__ import annotations

import struct
import subprocess
from collections import deque
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryFile
from threading import BoundedSemaphore
from typing import IO, TYPE_CHECKING, Any

from backing.ground.errors import AudioUnavailable, OutputError
from backing.output.sound.loudness import encoder_path, failure
from backing.output.sound.tags import Tags
from backing.output.sound.wave import RATE

if TYPE_CHECKING:
    from backing.output.sound.encode import Sound, Source

KBPS = 192
FRAME = 1152
DELAY = 576  # samples that LAME puts in front
PART_S = 60  # at most, of a part
SHORTEST_S = 20  # of a track in parts
TURN = 49  # frames, of 626 or 627 bytes in turn, that at 192 kbit/s make whole bytes (ISO/IEC 11172-3, 2.4.3.1)
SETTLING = TURN  # frames before a part
AFTER = 4  # frames behind it, which LAME looks at
SCALE = 1 / 0.97  # LAME turns a constant 192 kbit/s down to 0.97; measured: 0.26 LU
_AT_ONCE = 2
_encoders = BoundedSemaphore(_AT_ONCE)
NO_OFFSET = 0xFFFFFFFF  # of a chapter: its times count
MOST_ENTRIES = 255  # of a table of contents, which counts them in a byte
_HEADER = 4
_INFO = 36  # of a frame, behind header and side information


def write(part: Path, source: Source, tags: Tags, tell: Callable[[int], None]) -> None:
    """Encode into the file `part`; `tell` hears how many samples were taken, and may raise to end it.

    Raises OSError, `OutputError`, `AudioUnavailable`.
    """
    borders = parts(source.frames)
    with part.open("wb") as file, ThreadPoolExecutor(_AT_ONCE) as pool:
        head = tag(tags, source.frames)
        file.write(head)
        jobs = deque(
            pool.submit(_encoded, source, first, last, part.parent, tell) for first, last in borders
        )
        try:
            count, header = 0, b""
            while jobs:
                data, here = jobs.popleft().result()
                if not header:
                    header = data[:_HEADER]
                    file.write(bytes(length(header)))  # the place of the Info frame
                file.write(data)
                count += here
        finally:
            for job in jobs:
                job.cancel()
        size = file.tell() - len(head)
        file.seek(len(head))
        file.write(info(header, count, size, source.frames))


def parts(samples: int) -> list[tuple[int, int]]:
    """First frame and frame after the last of every part; the last part has an open end, counted as -1."""
    frames = -(-samples // FRAME)
    count = 1 if samples < SHORTEST_S * RATE else 2 * -(-samples // (2 * PART_S * RATE))
    each = TURN * -(
        -frames // (TURN * count)
    )  # so that the lengths of frames go on as in one piece
    starts = range(0, max(1, frames), max(1, each))
    return [(at, at + each if at + each < frames else -1) for at in starts]


def _encoded(
    source: Source, first: int, last: int, folder: Path, tell: Callable[[int], None]
) -> tuple[bytes, int]:
    """The frames of a part as bytes, and how many they are."""
    settling = min(first, SETTLING)
    start = FRAME * (first - settling)
    end = source.frames if last < 0 else min(source.frames, FRAME * (last + AFTER))
    until = source.frames if last < 0 else FRAME * last
    with _encoders, TemporaryFile(dir=folder, prefix=".backing-") as file:
        lame = _Lame(file)
        try:
            for at in range(start, end, 64 * FRAME):
                to = min(end, at + 64 * FRAME)
                tell(max(0, min(to, until) - max(at, FRAME * first)))
                lame.write(source.sound(at, to))
            lame.close()
        finally:
            lame.stop()
        file.seek(0)
        data = file.read()
    offsets = _offsets(data)
    kept = offsets[settling:] if last < 0 else offsets[settling : settling + last - first + 1]
    if len(kept) < 2 or (last >= 0 and len(kept) != last - first + 1):
        raise OutputError("the encoder left out frames")
    return data[kept[0] : kept[-1]], len(kept) - 1


class _Lame:
    """One encoder process that takes samples and leaves frames alone in a file."""

    def __init__(self, file: IO[bytes]) -> None:
        arguments = [encoder_path(), "-hide_banner", "-loglevel", "error"]
        arguments += ["-f", "f32le", "-ar", str(RATE), "-ac", "2", "-i", "pipe:0"]
        arguments += ["-c:a", "libmp3lame", "-b:a", f"{KBPS}k", "-reservoir", "0"]
        arguments += ["-write_xing", "0", "-id3v2_version", "0", "-f", "mp3", "pipe:1"]
        try:
            self._process = subprocess.Popen(
                arguments, stdin=subprocess.PIPE, stdout=file, stderr=subprocess.PIPE
            )
        except OSError as error:
            raise AudioUnavailable(f"the encoder cannot be started: {error.strerror}") from error

    def write(self, sound: Sound) -> None:
        assert self._process.stdin is not None
        try:
            self._process.stdin.write((sound * sound.dtype.type(SCALE)).data.cast("B"))
        except BrokenPipeError:
            self.close()

    def close(self) -> None:
        """Wait until all is encoded. Raises OSError, `OutputError`."""
        _, report = self._process.communicate()
        if self._process.returncode:
            raise failure(report)

    def stop(self) -> None:
        """End it, where it is still at work."""
        if self._process.poll() is None:
            self._process.kill()
        for pipe in (self._process.stdin, self._process.stderr):
            if pipe is not None:
                with suppress(OSError):  # what was not taken yet is not wanted
                    pipe.close()
        self._process.wait()


def length(header: bytes) -> int:
    """Bytes of a frame at this bit rate, by its padding bit. Raises `OutputError` where no frame begins."""
    if (
        len(header) < _HEADER
        or header[0] != 0xFF
        or header[1] & 0xFE != 0xFA
        or header[2] >> 4 != 11
    ):
        raise OutputError("the encoder wrote something that is no frame of 192 kbit/s")
    return 144_000 * KBPS // RATE + (header[2] >> 1 & 1)


def _offsets(data: bytes) -> list[int]:
    """Where every frame begins, and where the last one ends."""
    found, at = [0], 0
    while at < len(data):
        at += length(data[at : at + _HEADER])
        found.append(at)
    return found


def info(header: bytes, count: int, size: int, samples: int) -> bytes:
    """The frame in front: how many frames and bytes follow, and what to leave out at the start and the end.

    `header` is that of the first frame of sound, `count` the frames, `size` their bytes with this frame's.
    """
    padding = max(0, count * FRAME - samples - DELAY)
    table = bytes(i * 256 // 100 for i in range(100))
    tag = b"Info" + struct.pack(">III", 15, count, size) + table + struct.pack(">I", 0)
    tag += b"LAME".ljust(9) + bytes((1, 0)) + bytes(8)  # constant bit rate; no replay gain
    tag += bytes((0, KBPS)) + (DELAY << 12 | min(padding, 4095)).to_bytes(3, "big")
    tag += bytes(4) + struct.pack(">IH", size, 0)
    frame = header[:_HEADER] + bytes(_INFO - _HEADER) + tag
    frame += struct.pack(">H", crc16(frame))
    return frame.ljust(length(header), b"\0")


def crc16(data: bytes) -> int:
    """CRC-16 with the polynomial 0x8005, bits reflected, from 0 (the one of the LAME tag)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def tag(tags: Tags, samples: int) -> bytes:
    """The tag in front of the sound."""
    from mutagen import id3

    frames: Any = id3  # its classes tell no types
    made = frames.ID3()

    def said(kind: str, text: str) -> Any:
        encoding = 0 if text.isascii() else 1  # Latin-1, UTF-16: ID3v2.3 has no other
        return getattr(frames, kind)(encoding=encoding, text=text)

    def contents(name: str, flags: Any, entries: list[str]) -> Any:
        return frames.CTOC(element_id=name, flags=flags, child_element_ids=entries, sub_frames=[])

    for kind, text in (
        ("TIT2", tags.title),
        ("TPE1", tags.by),
        ("TBPM", str(tags.bpm)),
        ("TKEY", tags.key[:3]),
        ("TENC", tags.maker),
        ("COMM", tags.comment),
    ):
        if text:
            made.add(said(kind, text))
    if len(tags.chapters) > 1:
        starts = [start for start, _ in tags.chapters]
        ends = [*starts[1:], round(samples * 1000 / RATE)]
        names = [f"chp{i}" for i in range(len(starts))]
        for name, start, end, (_, title) in zip(names, starts, ends, tags.chapters, strict=True):
            times = {"start_time": start, "end_time": end}
            places = {"start_offset": NO_OFFSET, "end_offset": NO_OFFSET}
            made.add(
                frames.CHAP(element_id=name, **times, **places, sub_frames=[said("TIT2", title)])
            )
        ordered = frames.CTOCFlags.ORDERED
        while len(names) > MOST_ENTRIES:  # a table of tables
            groups = [names[i : i + MOST_ENTRIES] for i in range(0, len(names), MOST_ENTRIES)]
            names = [f"part {i}" for i in range(len(groups))]
            for name, group in zip(names, groups, strict=True):
                made.add(contents(name, ordered, group))
        made.add(contents("toc", ordered | frames.CTOCFlags.TOP_LEVEL, names))
    file = BytesIO()
    made.save(file, v1=0, v2_version=3, padding=lambda _: 0)
    return file.getvalue()

"""MP3 in parts: joined frame by frame, with nothing heard of it, and the true length in front."""

from __future__ import annotations

import struct
import subprocess
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from mutagen.id3 import ID3
from numpy.typing import NDArray

from backing.output.sound import mp3
from backing.output.sound.encode import encoder_path
from backing.output.sound.tags import Tags

RATE = 44_100
TAGS = Tags("A title", "Somebody", 120, "Bbm", "made here", ((0, "one"), (1500, "zwei")))


@dataclass(frozen=True)
class Sound:
    """Noise and a tone that swells, as loud as music."""

    frames: int

    def sound(self, start: int, end: int) -> NDArray[np.float32]:
        at = np.arange(start, end)
        noise = np.random.default_rng(1).standard_normal((self.frames, 2))[start:end]
        tone = np.sin(2 * np.pi * 440 * at / RATE) * (1 + np.sin(2 * np.pi * at / RATE))
        return (0.02 * noise + 0.2 * tone[:, None]).astype(np.float32)


def decoded(path: Path) -> NDArray[np.float32]:
    """What ffmpeg makes of a file."""
    command = [encoder_path(), "-v", "error", "-i", str(path), "-f", "f32le", "-"]
    return np.frombuffer(
        subprocess.run(command, capture_output=True, check=True).stdout, np.float32
    ).reshape(-1, 2)


def by_ffmpeg(sound: Sound, path: Path) -> None:
    """The same sound in one piece, everything written by ffmpeg."""
    command = [encoder_path(), "-v", "error", "-f", "f32le", "-ar", str(RATE), "-ac", "2", "-i"]
    command += ["pipe:0", "-b:a", "192k", "-reservoir", "0", str(path)]
    samples = sound.sound(0, sound.frames) * np.float32(mp3.SCALE)
    subprocess.run(command, input=samples.tobytes(), check=True)


def written(sound: Sound, path: Path) -> Path:
    mp3.write(path, sound, TAGS, lambda frames: None)
    return path


def frames(data: bytes) -> list[bytes]:
    """All frames of a file, the Info frame first."""
    at = data.index(b"Info") - 36
    found = []
    while at < len(data):
        length = mp3.length(data[at : at + 4])
        found.append(data[at : at + length])
        at += length
    return found


@pytest.mark.parametrize("samples", [1, 1152, 30_000, 20 * RATE + 5, 181 * RATE, 3600 * RATE])
def test_parts_follow_each_other_and_depend_on_the_length_alone(samples: int) -> None:
    found = mp3.parts(samples)
    assert found[0][0] == 0
    assert found[-1][1] == -1
    assert all(a[1] == b[0] for a, b in pairwise(found))
    assert all((b - a) * 1152 <= (mp3.PART_S + 2) * RATE for a, b in found if b >= 0)
    assert len(found) == 1 or samples > 20 * RATE


@pytest.mark.parametrize("samples", [20_000, 25 * RATE + 77, 130 * RATE + 1000])
def test_the_frame_in_front_says_what_ffmpeg_says_of_the_same_sound(
    tmp_path: Path, samples: int
) -> None:
    """Frames, and the samples to leave out at both ends, against the Info frame that ffmpeg writes for one piece."""
    sound = Sound(samples)
    by_ffmpeg(sound, tmp_path / "whole.mp3")
    theirs = frames((tmp_path / "whole.mp3").read_bytes())
    mine = frames(written(sound, tmp_path / "parts.mp3").read_bytes())
    assert mine[0][36:48] == theirs[0][36:48]  # kind, fields, number of frames
    assert len(mine) == len(theirs)
    assert mine[0][36 + 141 : 36 + 144] == theirs[0][36 + 141 : 36 + 144]
    assert struct.unpack(">I", mine[0][48:52])[0] == sum(map(len, mine))
    assert struct.unpack(">H", mine[0][190:192])[0] == mp3.crc16(mine[0][:190])
    assert struct.unpack(">H", theirs[0][190:192])[0] == mp3.crc16(theirs[0][:190])


def test_no_frame_borrows_room_from_another(tmp_path: Path) -> None:
    """The first nine bits behind the header point back to where a frame's sound begins (ISO/IEC 11172-3)."""
    data = written(Sound(25 * RATE), tmp_path / "a.mp3").read_bytes()
    for frame in frames(data)[1:]:
        assert frame[4] == 0
        assert frame[5] & 0x80 == 0


def test_the_parts_together_are_what_one_piece_would_be(tmp_path: Path) -> None:
    """Nearly every frame is the same byte for byte; those at the meeting place lose no more in coding than others."""
    sound = Sound(26 * RATE)
    by_ffmpeg(sound, tmp_path / "whole.mp3")
    written(sound, tmp_path / "parts.mp3")
    pairs = zip(
        *(frames((tmp_path / n).read_bytes()) for n in ("whole.mp3", "parts.mp3")), strict=True
    )
    other = [i - 1 for i, (a, b) in enumerate(pairs) if a != b][1:]  # the first is the Info frame
    first = mp3.parts(sound.frames)[1][0]
    assert len(other) < 10
    assert all(abs(i - first) < 10 for i in other)
    whole, parts = decoded(tmp_path / "whole.mp3"), decoded(tmp_path / "parts.mp3")
    assert len(parts) == len(whole) == sound.frames
    here = slice((first - 10) * 1152, (first + 10) * 1152)
    given = sound.sound(here.start, here.stop)
    assert np.std(parts[here] - given) < 1.02 * np.std(whole[here] - given)


@pytest.mark.parametrize("count", [2, 255, 600])
def test_tables_of_contents_hold_all_chapters(tmp_path: Path, count: int) -> None:
    """ID3v2 chapter frame addendum: a table counts its entries in one byte, and may hold other tables."""
    tags = Tags("A title", "", 120, "C", "made here", tuple((10 * i, f"{i}") for i in range(count)))
    (tmp_path / "a.mp3").write_bytes(mp3.tag(tags, RATE * 60))
    tag = ID3(tmp_path / "a.mp3")
    tables = {t.element_id: t.child_element_ids for t in tag.getall("CTOC")}

    def entries(name: str) -> list[str]:
        return [e for n in tables[name] for e in (entries(n) if n in tables else [n])]

    found = [tag[f"CHAP:{name}"] for name in entries("toc")]
    assert [str(c.sub_frames["TIT2"]) for c in found] == [f"{i}" for i in range(count)]
    assert [c.start_time for c in found] == [10 * i for i in range(count)]


def test_the_check_sum_is_the_published_one() -> None:
    """CRC-16 with polynomial 0x8005, reflected: 0xBB3D of the nine digits (catalogue of parametrised CRC algorithms)."""
    assert mp3.crc16(b"123456789") == 0xBB3D


def test_the_same_sound_gives_the_same_bytes(tmp_path: Path) -> None:
    sound = Sound(41 * RATE)
    first = written(sound, tmp_path / "a.mp3").read_bytes()
    assert written(sound, tmp_path / "b.mp3").read_bytes() == first

"""The sound of this machine, through miniaudio.

Conventions: 44.1 kHz, two channels of float32; the device named `null` swallows sound in real time and needs no
hardware, for tests and for machines without sound.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from backing.ground.errors import AudioUnavailable, RequestError
from backing.ground.source import nearest
from backing.live.pump import Pump
from backing.output.sound.synth import RATE

NULL = "null"
BUFFER_MS = 40


def devices() -> list[str]:
    """The names of the devices that can play, `null` last."""
    return [d["name"] for d in _found()] + [NULL]


def _found() -> list[dict[str, Any]]:
    library = _library()
    try:
        with _unheard():
            return list(library.Devices().get_playbacks())
    except library.MiniaudioError:
        return []


def _library() -> Any:
    try:
        import miniaudio
    except ImportError as missing:
        raise AudioUnavailable(
            f"sound out is missing ({missing}); pip install miniaudio brings it, or write a file with backing make"
        ) from None
    return miniaudio


@contextmanager
def _unheard() -> Iterator[None]:
    """ALSA's library writes to standard error what a program has to say in its own words."""
    try:
        kept = os.dup(2)
    except OSError:  # standard error is closed
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


class Speaker:
    """An open device that takes from a pump. `lost` says that it takes no more."""

    def __init__(self, pump: Pump, name: str | None = None) -> None:
        """Raises `RequestError` for a device that is not there, `AudioUnavailable` where none can be opened."""
        self._pump, self._name = pump, name
        self._device: Any = None
        self._taken = -1
        self.open()

    def open(self) -> None:
        """Open the device, again where it was lost."""
        library = _library()
        chosen: dict[str, Any] = {}
        if self._name == NULL:
            chosen["backends"] = [library.Backend.NULL]
        elif self._name is not None:
            chosen["device_id"] = _chosen(self._name)
        try:
            with _unheard():
                device = library.PlaybackDevice(
                    output_format=library.SampleFormat.FLOAT32, nchannels=2, sample_rate=RATE,
                    buffersize_msec=BUFFER_MS, app_name="backing", **chosen,
                )  # fmt: skip
            sound = self._pump.frames()
            next(sound)
            device.start(sound)
        except library.MiniaudioError as wrong:
            raise AudioUnavailable(
                f"no sound device could be opened ({wrong.args[0]}); --list-devices shows what there is, --device null plays "
                "in silence, and backing make writes a file"
            ) from None
        if self._name != NULL and device.backend == "Null":
            device.close()
            raise AudioUnavailable(
                "this machine has no sound device; --device null plays in silence, backing make writes a file"
            )
        self._device, self._taken = device, -1

    def moved(self) -> bool:
        """Whether the device has taken anything since this was last asked."""
        before, self._taken = self._taken, self._pump.taken + self._pump.missing
        return self._taken != before

    def close(self) -> None:
        if self._device is not None:
            self._device.close()
            self._device = None


def _chosen(name: str) -> Any:
    found = _found()
    wanted = [d for d in found if d["name"].casefold() == name.casefold()]
    wanted = wanted or [d for d in found if name.casefold() in d["name"].casefold()]
    if len(wanted) == 1:
        return wanted[0]["id"]
    names = [d["name"] for d in found]
    if len(wanted) > 1:
        many = ", ".join(d["name"] for d in wanted)
        raise RequestError(f"--device {name}: several are called so: {many}")
    near = nearest(name, names)
    hint = f" Did you mean {near!r}?" if near else ""
    there = ", ".join([*names, NULL])
    raise RequestError(f"--device {name}: there is no such device; there are {there}.{hint}")

"""FluidSynth's C library: where it is, and pyfluidsynth bound to it.

`BACKING_FLUIDSYNTH` names a library; otherwise the copy inside the pygame-ce wheel serves, found by its path without
importing pygame, so that machines with the same packages sound the same; otherwise the system's. pyfluidsynth looks
for its library once, when it is imported, through `ctypes.util.find_library`; that is the moment to answer for it.
"""

from __future__ import annotations

import contextlib
import ctypes
import ctypes.util
import importlib.util
import io
import os
from pathlib import Path
from threading import Lock
from typing import Any

from backing.ground.errors import AudioUnavailable

VARIABLE = "BACKING_FLUIDSYNTH"
_NAMES = ("fluidsynth", "fluidsynth-3", "libfluidsynth-3", "libfluidsynth")
_MISSING = (
    "there is no sound engine: install FluidSynth (pip install pygame-ce brings it on Linux and macOS; elsewhere "
    f"from fluidsynth.org) or set {VARIABLE} to its library"
)
# What pyfluidsynth does not declare: name, result, arguments (fluidsynth/mod.h, synth.h and voice.h).
_POINTER, _INT = ctypes.c_void_p, ctypes.c_int
_FUNCTIONS: tuple[tuple[str, Any, list[Any]], ...] = (
    ("new_fluid_mod",               _POINTER, []),
    ("delete_fluid_mod",            None,     [_POINTER]),
    ("fluid_mod_set_source1",       None,     [_POINTER, _INT, _INT]),
    ("fluid_mod_set_source2",       None,     [_POINTER, _INT, _INT]),
    ("fluid_mod_set_dest",          None,     [_POINTER, _INT]),
    ("fluid_mod_set_amount",        None,     [_POINTER, ctypes.c_double]),
    ("fluid_synth_add_default_mod", _INT,     [_POINTER, _POINTER, _INT]),
    ("fluid_synth_cc",              _INT,     [_POINTER, _INT, _INT, _INT]),
    ("fluid_synth_get_voicelist",   None,     [_POINTER, _POINTER, _INT, _INT]),
    ("fluid_synth_get_sfont",       _POINTER, [_POINTER, ctypes.c_uint]),
    ("fluid_synth_add_sfont",       _INT,     [_POINTER, _POINTER]),
    ("fluid_synth_unset_program",   _INT,     [_POINTER, _INT]),
    ("fluid_synth_remove_sfont",    _INT,     [_POINTER, _POINTER]),
    ("fluid_voice_get_key",         _INT,     [_POINTER]),
    ("fluid_voice_gen_set",         None,     [_POINTER, _INT, ctypes.c_float]),
    ("fluid_voice_update_param",    None,     [_POINTER, _INT]),
)  # fmt: skip
_lock = Lock()
_loaded: dict[str, Any] = {}


def engine_path() -> str:
    """The library that will be loaded: a path, or the name by which the system knows it. Raises `AudioUnavailable`."""
    named = os.environ.get(VARIABLE)
    if named:
        if not Path(named).is_file():
            raise AudioUnavailable(f"{VARIABLE} names {named}, which is not there")
        return named
    bundled = _bundled()
    if bundled:
        return str(bundled)
    for name in _NAMES:
        found = ctypes.util.find_library(name)
        if found:
            return found
    raise AudioUnavailable(_MISSING)


def load() -> Any:
    """The module `fluidsynth`, bound to that library, its messages silenced. Raises `AudioUnavailable`.

    It is a copy of our own: another package may have imported the module before us, bound to another library.
    """
    path = engine_path()
    with _lock:
        if path not in _loaded:
            _loaded[path] = _bound(path)
        return _loaded[path]


def _bundled() -> Path | None:
    """The library inside the pygame-ce wheel, None where the wheel has none."""
    spec = importlib.util.find_spec("pygame")
    if spec is None or spec.origin is None:
        return None
    package = Path(spec.origin).parent
    for folder in (package.parent / "pygame_ce.libs", package / ".dylibs", package):
        for found in sorted(folder.glob("libfluidsynth*")):
            return found
    return None


def _bound(path: str) -> Any:
    spec = importlib.util.find_spec("fluidsynth")
    if spec is None or spec.loader is None:
        raise AudioUnavailable("pyfluidsynth is missing: pip install pyfluidsynth")
    fluidsynth = importlib.util.module_from_spec(spec)
    find = ctypes.util.find_library
    ctypes.util.find_library = lambda name: path
    try:
        # with CI set, pyfluidsynth prints where it found the library
        with contextlib.redirect_stdout(io.StringIO()):
            spec.loader.exec_module(fluidsynth)
    except (ImportError, OSError, AttributeError, TypeError) as error:
        raise AudioUnavailable(f"the sound engine {path} cannot be loaded: {error}") from error
    finally:
        ctypes.util.find_library = find
    library = fluidsynth._fl
    if not hasattr(library, "fluid_synth_write_float"):
        raise AudioUnavailable(f"the sound engine {path} is not FluidSynth; {_MISSING}")
    for level in range(5):  # panic, error, warning, information, debug
        library.fluid_set_log_function(level, None, None)
    write = library.fluid_synth_write_float
    write.restype = ctypes.c_int
    write.argtypes = [
        ctypes.c_void_p,
        ctypes.c_int,
        *(ctypes.c_void_p, ctypes.c_int, ctypes.c_int) * 2,
    ]
    for name, result, arguments in _FUNCTIONS:
        if not hasattr(library, name):
            raise AudioUnavailable(
                f"the sound engine {path} is older than FluidSynth 2.0; {_MISSING}"
            )
        function = getattr(library, name)
        function.restype, function.argtypes = result, arguments
    # The first synth of a process fills tables that all others read, and FluidSynth does not make the others wait for
    # it: two threads that begin together would sound wrong. So one is made, and forgotten, here.
    settings = fluidsynth.new_fluid_settings()
    fluidsynth.delete_fluid_synth(fluidsynth.new_fluid_synth(settings))
    fluidsynth.delete_fluid_settings(settings)
    return fluidsynth

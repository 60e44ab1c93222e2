"""What the program needs to make sound, whether it is here, and what to install where it is not."""

from __future__ import annotations

from backing.ground.errors import AudioUnavailable

Finding = dict[str, object]


def examine() -> list[Finding]:
    """One finding each for the engine, the soundfont, the encoder and the styles: name, ok, where, advice."""
    from backing.output.sound.encoder import encoder_path
    from backing.output.sound.engine import engine_path
    from backing.output.sound.soundfont import told_find
    from backing.styles.find import names
    from backing.styles.shelf import folders

    found: list[Finding] = []
    for name, look in (
        ("sound engine (FluidSynth)", engine_path),
        ("soundfont", told_find),
        ("encoder (ffmpeg)", encoder_path),
    ):
        try:
            where, advice = _told(look())
            found.append({"name": name, "ok": True, "where": where, "advice": advice})
        except AudioUnavailable as missing:
            found.append({"name": name, "ok": False, "where": None, "advice": str(missing)})
    listed = names()
    found.append(
        {
            "name": "styles",
            "ok": bool(listed),
            "where": ", ".join(str(f) for f in folders()),
            "advice": f"{len(listed)} found"
            if listed
            else "the styles folder is missing; install the package again",
        }
    )
    return found


def _told(found: object) -> tuple[str, str]:
    """A place, and what is said beside it."""
    if isinstance(found, tuple):
        return str(found[0]), str(found[1])
    return str(found), ""


def healthy(found: list[Finding]) -> bool:
    """True when a track can be made."""
    return all(bool(f["ok"]) for f in found)


def text(found: list[Finding]) -> str:
    """The findings as people read them."""
    lines = []
    for f in found:
        lines.append(f"{'ok     ' if f['ok'] else 'missing'}  {f['name']}")
        lines.extend(f"         {part}" for part in (f["where"], f["advice"]) if part)
    return "\n".join(lines)

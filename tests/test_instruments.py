"""Programs and drum keys against the General MIDI tables of pretty_midi."""

from __future__ import annotations

import pytest
from pretty_midi import constants

from backing.ground.instruments import ALSO_CALLED, CHOKE_GROUPS, DRUM_KEYS, INSTRUMENTS
from backing.ground.roles import CHANNELS, ROLES, UNPITCHED, in_score_order
from tests.each import each

# our name -> the General MIDI name (General MIDI level 1 sound set, as pretty_midi.constants prints it)
GENERAL_MIDI = {
    "acoustic piano": "Acoustic Grand Piano", "electric piano": "Electric Piano 1",
    "bright electric piano": "Electric Piano 2", "clavinet": "Clavinet", "vibraphone": "Vibraphone",
    "marimba": "Marimba", "organ": "Drawbar Organ", "rock organ": "Rock Organ", "accordion": "Accordion",
    "harmonica": "Harmonica", "nylon guitar": "Acoustic Guitar (nylon)",
    "steel guitar": "Acoustic Guitar (steel)", "jazz guitar": "Electric Guitar (jazz)",
    "clean guitar": "Electric Guitar (clean)", "muted guitar": "Electric Guitar (muted)",
    "overdriven guitar": "Overdriven Guitar", "distorted guitar": "Distortion Guitar",
    "acoustic bass": "Acoustic Bass", "finger bass": "Electric Bass (finger)",
    "pick bass": "Electric Bass (pick)", "fretless bass": "Fretless Bass", "slap bass": "Slap Bass 1",
    "synth bass": "Synth Bass 1", "violin": "Violin", "cello": "Cello", "bowed bass": "Contrabass",
    "string ensemble": "String Ensemble 1", "warm pad": "Pad 2 (warm)", "trumpet": "Trumpet",
    "trombone": "Trombone", "tuba": "Tuba", "brass section": "Brass Section",
    "alto saxophone": "Alto Sax", "tenor saxophone": "Tenor Sax", "clarinet": "Clarinet",
    "flute": "Flute", "whistle": "Recorder", "bandoneon": "Tango Accordion",
    "pizzicato strings": "Pizzicato Strings", "harp": "Orchestral Harp", "choir": "Choir Aahs",
    "synth lead": "Lead 2 (sawtooth)", "french horn": "French Horn", "banjo": "Banjo", "fiddle": "Fiddle", "steel drums": "Steel Drums",
}  # fmt: skip

# our name -> the General MIDI percussion key (General MIDI level 1 percussion key map)
PERCUSSION = {
    "acoustic kick": "Acoustic Bass Drum", "kick": "Bass Drum 1", "rim": "Side Stick",
    "snare": "Acoustic Snare", "clap": "Hand Clap", "electric snare": "Electric Snare",
    "floor tom": "Low Floor Tom", "hat": "Closed Hi Hat", "high floor tom": "High Floor Tom",
    "pedal hat": "Pedal Hi Hat", "low tom": "Low Tom", "open hat": "Open Hi Hat",
    "mid tom": "Low Mid Tom", "high mid tom": "Hi Mid Tom", "crash": "Crash Cymbal 1",
    "high tom": "High Tom", "ride": "Ride Cymbal 1", "china": "Chinese Cymbal", "bell": "Ride Bell",
    "tambourine": "Tambourine", "splash": "Splash Cymbal", "cowbell": "Cowbell",
    "crash 2": "Crash Cymbal 2", "vibraslap": "Vibraslap", "ride 2": "Ride Cymbal 2",
    "high bongo": "Hi Bongo", "low bongo": "Low Bongo", "muted conga": "Mute Hi Conga",
    "open conga": "Open Hi Conga", "low conga": "Low Conga", "high timbale": "High Timbale",
    "low timbale": "Low Timbale", "high agogo": "High Agogo", "low agogo": "Low Agogo",
    "cabasa": "Cabasa", "maracas": "Maracas", "short whistle": "Short Whistle",
    "long whistle": "Long Whistle", "short guiro": "Short Guiro", "long guiro": "Long Guiro",
    "claves": "Claves", "high block": "Hi Wood Block", "low block": "Low Wood Block",
    "muted cuica": "Mute Cuica", "open cuica": "Open Cuica", "muted triangle": "Mute Triangle",
    "open triangle": "Open Triangle",
}  # fmt: skip
KITS = {"drum kit", "electronic kit", "analog kit", "brush kit", "percussion", "click"}


def plain(name: str) -> str:
    """Letters and digits alone: printed tables differ in hyphens, brackets and `Hi` for `High`."""
    return "".join(c for c in name.casefold().replace("high", "hi") if c.isalnum())


def test_every_instrument_is_named_in_this_table() -> None:
    assert set(INSTRUMENTS) == set(GENERAL_MIDI) | KITS


@each("name", sorted(GENERAL_MIDI))
def test_a_program_is_the_one_that_general_midi_gives_its_name(name: str) -> None:
    found = constants.INSTRUMENT_MAP[INSTRUMENTS[name].program]
    assert plain(found) == plain(GENERAL_MIDI[name])


# General MIDI level 2, percussion sets by program from 0 (from memory)
GENERAL_MIDI_2 = {"drum kit": 0, "electronic kit": 24, "analog kit": 25, "brush kit": 40}


def test_kits_have_the_programs_of_general_midi_2() -> None:
    assert {name: INSTRUMENTS[name].program for name in GENERAL_MIDI_2} == GENERAL_MIDI_2


def test_drum_keys_are_those_of_general_midi_and_all_of_them() -> None:
    theirs = {35 + i: plain(name) for i, name in enumerate(constants.DRUM_MAP)}
    ours = {DRUM_KEYS[name]: plain(PERCUSSION[name]) for name in DRUM_KEYS}
    assert ours == theirs


def test_percussion_stands_on_channel_ten_and_pitched_roles_elsewhere() -> None:
    """Channel 10 is index 9 in a file (General MIDI level 1)."""
    assert {CHANNELS[role] for role in UNPITCHED} == {9}
    pitched = [CHANNELS[role] for role in ROLES if role not in UNPITCHED]
    assert 9 not in pitched
    assert len(set(pitched)) == len(pitched)


def test_ranges_are_midi_notes_with_the_lower_end_first() -> None:
    for instrument in INSTRUMENTS.values():
        assert 0 <= instrument.low < instrument.high <= 127, instrument.name


def test_the_high_pass_lies_half_an_octave_below_the_lowest_fundamental() -> None:
    """E1 is 41.2 Hz (equal temperament, A4 440 Hz)."""
    assert INSTRUMENTS["acoustic bass"].cut_hz == pytest.approx(41.203 / 2**0.5, abs=0.01)


def test_choke_groups_name_drums_that_exist() -> None:
    for group in CHOKE_GROUPS:
        assert group <= set(DRUM_KEYS)


def test_score_order_runs_from_the_melody_down() -> None:
    assert in_score_order({"drums", "bass", "melody"}) == ("melody", "bass", "drums")


def test_another_name_of_an_instrument_leads_to_one_of_the_table() -> None:
    assert [name for name in ALSO_CALLED.values() if name not in INSTRUMENTS] == []
    assert [name for name in ALSO_CALLED if name in INSTRUMENTS] == []

"""Curves and Touchstone files: what they say, read back against scikit-rf; what is wrong with them, in one sentence.

All numbers are invented; the truth is what each test writes.
"""

from __future__ import annotations

import builtins
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fallow.errors import InputError
from fallow.files.curves import read_curve
from fallow.files.tables import read_chain
from fallow.files.touchstone import read_touchstone
from fallow.spectrum.chain import GainCurve

Write = Callable[[str, str | bytes], Path]
ROWS = "470 0.1 10 0.5 20 0.5 20 0.2 -30\n540 0.1 10 0.4 20 0.4 20 0.2 -30\n610 0.1 10 0.3 20 0.3 20 0.2 -30\n"
TWO_PORTS = f"! invented filter\n# MHz S MA R 50\n{ROWS}"
VERSION_2 = """\
[Version] 2.0
# MHz S DB R 50
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 2
[Reference] 50 50
[Network Data]
470 -20 0 -1 10 -3 20 -15 0
600 -20 0 -2 10 -3 20 -15 0
[End]
"""


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def file(name: str, content: str | bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
        return path

    return file


# --- curves


DIALECTS = {
    "as we write it": "frequency_mhz,gain_db\n470.5,-3.5\n600,-1.5\n",
    "no headings, comma": "470,5;-3,5\n600;-1,5\n",
    "blanks": "470.5  -3.5\n600.0  -1.5\n",
    "German": "Frequenz/MHz;Verstärkung/dB\n470,5;−3,5\n600,0;−1,5\n",
    "French": "Fréquence (MHz)\tGain (dB)\n470,5\t-3,5\n600\t-1,5\n",
    "kilohertz without a word": "470500,-3.5\n600000,-1.5\n",
    "hertz": "f [Hz];S21 [dB];phase\n470500000;-3.5;20\n600000000;-1.5;30\n",
    "units in the cells": "470.5 MHz,-3.5 dB\n0.6 GHz,-1.5 dB\n",
    "remarks": "# invented cable\n! MHz dB\n470.5\t-3.5\n\n# the end\n600\t-1.5\n",
    "losses": "mhz,loss_db\n470.5,3.5\n600,1.5\n",
    "UTF-16": "frequency_mhz,gain_db\n470.5,-3.5\n600,-1.5\n".encode("utf-16"),
}


@pytest.mark.parametrize("content", DIALECTS.values(), ids=DIALECTS)
def test_a_curve_of_any_region(write: Write, content: str | bytes) -> None:
    curve, notes = read_curve(write("cable.txt", content))
    assert curve.frequencies_hz.tolist() == [470.5e6, 600e6]
    assert curve.gains_db.tolist() == [-3.5, -1.5]
    assert bool(notes) == ("loss" in str(content))


def test_a_curve_may_tell_its_uncertainty(write: Write) -> None:
    curve, _ = read_curve(write("whip.csv", "frequency_mhz;gain_dbi;u_db\n470;1,5;0,4\n600;2;0,8\n"))
    assert curve.u_db is not None
    assert (curve.gains_db.tolist(), curve.u_db.tolist()) == ([1.5, 2.0], [0.4, 0.8])


CURVE_MISTAKES = [
    ("470,-3\n600,abc\n", "can't be read as a frequency", 2),
    ("470,-3\n540,\n600,-1\n", "no number", 2),
    ("470,-3\nstray words\n600,-1\n", "can't be read as a frequency", 2),
    ("470,-3\n", "one point", 1),
    ("frequency_mhz,gain_db\n-470,-3\n600,-1\n", "'-470' is no frequency", 2),
    ("470,-3\n540,-2\n600,-1,5\n", "can't be read as a frequency", 3),
    ("frequency_mhz,gain_db\n600,-3\n470,-1\n", "do not rise", 3),
    ("frequency_mhz,gain_db\n470,-3\n470,-1\n", "do not rise", 3),
    ("0.47,-3\n0.6,-1\n", "unit of the frequencies", None),
    ("frequency_mhz,gain_db\n470,-300\n600,-1\n", "-300 dB can't be", None),
    ("mhz,loss_db\n470,-3\n600,-1\n", "negative losses", None),
    ("mhz,gain_db,u_db\n470,-3,0.1\n600,-1,-0.1\n", "uncertainty is negative", None),
    ("470,1,2,3\n600,1,2,3\n", "not clear which columns", None),
    ("470,-3 V\n600,-1 V\n", "unit that does not belong", 1),
    ("only words\n", "no curve", None),
]


@pytest.mark.parametrize(("content", "said", "line"), CURVE_MISTAKES, ids=range(len(CURVE_MISTAKES)))
def test_mistakes_in_curves(write: Write, content: str, said: str, line: int | None) -> None:
    path = write("cable.csv", content)
    with pytest.raises(InputError, match=said) as caught:
        read_curve(path)
    assert (caught.value.path, caught.value.line) == (str(path), line)
    assert "\n" not in str(caught.value)


# --- Touchstone


@pytest.mark.parametrize("form", ["db", "ma", "ri"])
@pytest.mark.parametrize("unit", ["Hz", "kHz", "MHz", "GHz"])
def test_two_ports_as_scikit_rf_reads_them(tmp_path: Path, form: str, unit: str) -> None:
    skrf = pytest.importorskip("skrf", reason="scikit-rf is the reference here")
    rng = np.random.default_rng(11)
    s = rng.uniform(-0.6, 0.6, (9, 2, 2)) + 1j * rng.uniform(-0.6, 0.6, (9, 2, 2))
    network = skrf.Network(s=s, f=np.linspace(470e6, 610e6, 9), z0=50)
    network.frequency.unit = unit
    network.write_touchstone("part", dir=str(tmp_path), form=form)
    found = read_touchstone(tmp_path / "part.s2p")
    assert found.gain_db is not None
    assert found.reverse_db is not None
    assert found.gain_db.frequencies_hz == pytest.approx(network.f)
    assert found.gain_db.values == pytest.approx(network.s_db[:, 1, 0], abs=1e-6)
    assert found.reverse_db.values == pytest.approx(network.s_db[:, 0, 1], abs=1e-6)
    assert found.reflections.towards_antenna.values == pytest.approx(network.s_mag[:, 0, 0], abs=1e-9)
    assert found.reflections.towards_instrument.values == pytest.approx(network.s_mag[:, 1, 1], abs=1e-9)


def test_the_ports_are_said(write: Write) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    found = read_touchstone(write("filter.s2p", TWO_PORTS))
    assert "port 1 is taken as the side of the antenna" in found.notes[-1]
    assert "the way back" not in found.notes[-1]
    assert "differs by up to 2.0 dB" in read_touchstone(write("isolator.ts", VERSION_2)).notes[-1]


def test_version_2_and_its_order_of_data(write: Write) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    one = read_touchstone(write("a.ts", VERSION_2))
    other = read_touchstone(write("b.s2p", VERSION_2.replace("21_12", "12_21")))
    assert one.gain_db is not None
    assert other.reverse_db is not None
    assert one.gain_db.values == pytest.approx([-1.0, -2.0], abs=1e-9)
    assert other.reverse_db.values == pytest.approx([-1.0, -2.0], abs=1e-9)


def test_a_75_ohm_part_is_converted_and_that_is_said(write: Write) -> None:
    # A straight 75 ohm connection is a straight 50 ohm connection; a 75 ohm load at 50 ohm reflects (75 − 50)/(75 + 50)
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    straight = read_touchstone(write("wire.s2p", "# MHz S RI R 75\n470 0 0 1 0 1 0 0 0\n600 0 0 1 0 1 0 0 0\n"))
    assert straight.gain_db is not None
    assert straight.gain_db.values == pytest.approx([0.0, 0.0], abs=1e-6)
    load = read_touchstone(write("load.s1p", "# MHz S RI R 75\n470 0 0\n600 0 0\n"))
    assert load.reflections.towards_antenna.values == pytest.approx([0.2, 0.2], abs=1e-6)
    assert "converted from 75 ohm" in load.notes[0]


def test_noise_of_an_amplifier_behind_its_network(write: Write) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    found = read_touchstone(write("amplifier.s2p", TWO_PORTS + "470 0.7 0.3 40 0.4\n600 0.8 0.3 50 0.4\n"))
    assert found.gain_db is not None
    assert found.gain_db.frequencies_hz.size == 3


TOUCHSTONE_MISTAKES = [
    (TWO_PORTS.replace(" 20 0.2 -30\n610", " 20 0.2\n610"), "holds 8 numbers, and 2 ports need 9", 4),
    (TWO_PORTS[:-20], "numbers, and 2 ports need 9", 5),
    (TWO_PORTS.replace("540", "460"), "do not rise", 4),
    (TWO_PORTS.replace("470", "-0.5"), "'-0.5' is no frequency", 3),
    (TWO_PORTS.replace("0.4 20", "x.4 20", 1), "'x.4' is no number", 4),
    (TWO_PORTS.replace("0.", "0,"), "'0,1' is no number", 3),
    (TWO_PORTS.replace("# MHz S MA R 50", "# miles S MA R 50"), "option line", 2),
    (TWO_PORTS.replace("MA R 50", "MA R 50+5j"), "'50.5j' is no resistance", 2),
    (TWO_PORTS.replace("MA R 50", "MA R (50,5)"), "is no resistance", 2),
    (TWO_PORTS.replace("MA R 50", "MA R 0"), "'0' is no resistance", 2),
    (TWO_PORTS.replace("# MHz S MA R 50\n", ""), "reach 610 GHz", None),
    ("# MHz S DB R 50\n470 900 0 -1 0 -1 0 -9 0\n480 900 0 -1 0 -1 0 -9 0\n", "above 150 dB", None),
    ("# MHz S MA R 50\n470 0 0 1 0 1 0 0 0\n", "fewer than two", None),
    ("# MHz Z RI R 50\n470 0 0 0 0 0 0 0 0\n480 nan 0 0 0 0 0 0 0\n", "'nan' is no number", 3),
    ("! nothing\n", "fewer than two", None),
    (VERSION_2.replace("Frequencies] 2", "Frequencies] 3"), "3 frequencies are announced and 2 are there", None),
    (VERSION_2.replace("[Reference] 50 50", "[Reference] 50"), "Reference", None),
    (VERSION_2.replace("[Reference] 50 50", "[Reference]"), "Reference", None),
    (VERSION_2.replace("Ports] 2", "Ports] 999999"), "999999 ports", None),
    (VERSION_2.replace("[Number of F", "[Matrix Format] Lower\n[Number of F"), "half a matrix", None),
    (VERSION_2.replace("[Number of F", "[Mixed-Mode Order] D2,3 C2,3\n[Number of F"), "mixed modes", None),
]


@pytest.mark.parametrize(("content", "said", "line"), TOUCHSTONE_MISTAKES, ids=range(len(TOUCHSTONE_MISTAKES)))
def test_damaged_touchstone_files(write: Write, content: str, said: str, line: int | None) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    path = write("part.s2p", content)
    with pytest.raises(InputError, match=said) as caught:
        read_touchstone(path)
    assert (caught.value.path, caught.value.line) == (str(path), line)
    assert "\n" not in str(caught.value)


def test_more_ports_than_a_chain_has(write: Write) -> None:
    with pytest.raises(InputError, match="3 ports") as caught:
        read_touchstone(write("splitter.s3p", TWO_PORTS))
    assert caught.value.hint is not None
    assert ".s2p" in caught.value.hint


def test_a_missing_library_is_named(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *rest: object, **named: object) -> object:
        if name.startswith("skrf"):
            raise ModuleNotFoundError("No module named 'skrf'", name="skrf")
        return real(name, *rest, **named)

    for name in [name for name in sys.modules if name.split(".")[0] == "skrf"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(InputError, match="scikit-rf, which is not installed") as caught:
        read_touchstone(write("filter.s2p", TWO_PORTS))
    assert caught.value.hint is not None
    assert "fallow[touchstone]" in caught.value.hint


@given(st.data())
def test_no_damage_makes_a_traceback(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    text = data.draw(st.sampled_from([TWO_PORTS, VERSION_2, "frequency_mhz;gain_db\n470,5;-3,5\n600;-1,5\n"]))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        piece = data.draw(st.text("0123456789.,;-+eE#![]\n\t /RSj", max_size=6))
        text = text[:at] + piece + text[at + data.draw(st.integers(0, 20)) :]
    path = tmp_path_factory.mktemp("damage", numbered=True) / data.draw(st.sampled_from(["p.s2p", "p.s1p", "p.ts"]))
    path.write_text(text, encoding="utf-8")
    for read in (read_touchstone, read_curve):
        try:
            read(path)
        except InputError as error:
            assert "\n" not in str(error)  # noqa: PT017 - reading well is fine too


# --- the table that names them


def chain(write: Write, rows: str) -> Path:
    return write("chain.csv", f"part;kind;gain_db;u_db;vswr\n{rows}")


def test_a_chain_of_numbers_curves_and_files(write: Write) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    write("whip-1.5m.csv", "frequency_mhz,gain_db,u_db\n470,1,0.5\n600,2,0.9\n")
    write("filter.s2p", TWO_PORTS)
    whip, band, cable = read_chain(
        chain(write, "whip;antenna;whip-1.5m.csv;;1,5\nband;filter;filter.s2p;0,2;\ncable;cable;-2,5;0,3;\n")
    ).parts
    assert isinstance(whip.gain_db, GainCurve)
    assert (whip.u_db, whip.gain_known, cable.gain_db, cable.reflections) == (0.0, True, -2.5, None)
    assert whip.reflections is not None
    assert whip.reflections.towards_instrument == pytest.approx(0.2)
    assert isinstance(band.gain_db, GainCurve)
    assert band.gain_db.gains_db == pytest.approx(20 * np.log10([0.5, 0.4, 0.3]), abs=1e-9)
    assert band.reverse_db is not None
    assert band.notes


def test_one_port_is_a_match_and_no_gain(write: Write) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    write("whip.s1p", "# MHz S MA R 50\n470 0.3 10\n600 0.4 20\n")
    (whip,) = read_chain(chain(write, "whip;antenna;whip.s1p;1;\n")).parts
    assert (whip.gain_db, whip.gain_known) == (0.0, False)
    assert "a gain of 0 dB is taken" in whip.notes[-1]
    (whip,) = read_chain(chain(write, "whip;antenna;2.15;1;whip.s1p\n")).parts
    assert (whip.gain_db, whip.gain_known) == (2.15, True)
    assert whip.reflections is not None
    assert whip.reflections.towards_instrument.values == pytest.approx([0.3, 0.4])
    with pytest.raises(InputError, match="one port, which tells a match and no gain") as caught:
        read_chain(chain(write, "cable;cable;whip.s1p;1;\n"))
    assert (caught.value.line, caught.value.column) == (2, "gain_db")


def test_a_passive_part_that_gains_in_a_measurement_is_told(write: Write) -> None:
    pytest.importorskip("skrf", reason="scikit-rf reads these files")
    write("lead.s2p", "# MHz S DB R 50\n470 -30 0 -1 0 -1 0 -30 0\n600 -30 0 0.8 0 0.8 0 -30 0\n")
    write("lead.csv", "frequency_mhz,gain_db\n470,-1\n600,0.3\n")
    for name, gains in (("lead.s2p", "0.8"), ("lead.csv", "0.3")):
        (cable,) = read_chain(chain(write, f"lead;cable;{name};0.1;\n")).parts
        assert f"{name}: 'lead' is a cable and gains up to {gains} dB" in cable.notes[-1]
        (amplifier,) = read_chain(chain(write, f"lead;other;{name};0.1;\n")).parts
        assert not any("gains up to" in note for note in amplifier.notes)


def test_a_curve_of_losses_without_their_sign_is_refused(write: Write) -> None:
    write("lead.csv", "frequency_mhz,gain_db\n470,3\n600,4.5\n")
    with pytest.raises(InputError, match=r"a cable of \+4.5 dB would amplify") as caught:
        read_chain(chain(write, "lead;cable;lead.csv;0.1;\n"))
    assert caught.value.hint == "write losses as negative gains; an amplifier is of kind other"


@pytest.mark.parametrize("kind", ["cable", "filter", "pad"])
def test_a_slip_of_the_sign_is_refused(write: Write, kind: str) -> None:
    with pytest.raises(InputError, match=rf"a {kind} of \+6 dB would amplify") as caught:
        read_chain(chain(write, f"lead;{kind};6;0.1;\n"))
    assert caught.value.hint == "write -6; an amplifier is of kind other"
    assert read_chain(chain(write, "box;other;6;0.1;\nwhip;antenna;6;1;\n")).parts[0].gain_db == 6


@pytest.mark.parametrize(
    ("row", "said", "column"),
    [
        ("pad;pad;-1e9;1;\n", "-1e\\+09 dB can't be", "gain_db"),
        ("box;instrument;200;1;\n", "a gain of 200 dB can't be", "gain_db"),
        ("pad;pad;-3;1e9;\n", "1e9 dB leaves nothing known", "u_db"),
        ("pad;pad;-3;1;1e9\n", "VSWR of 1e9 can't be", "vswr"),
        ("whip;antenna;0;1;0.5\n", "VSWR of 0.5 can't be", "vswr"),
        ("whip;antenna;0;1;nowhere.s1p\n", "nor a file beside", "vswr"),
        ("whip;antenna;0;1;chain.csv\n", "neither a number nor a Touchstone file", "vswr"),
        ("whip;antenna;0;;\n", "empty", "u_db"),
    ],
)
def test_mistakes_in_the_table(write: Write, row: str, said: str, column: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        read_chain(chain(write, row))
    assert (caught.value.line, caught.value.column) == (2, column)

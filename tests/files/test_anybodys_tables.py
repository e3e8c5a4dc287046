"""Anybody's tables read by evidence. Truth: what the tests write, in many spellings; all names are invented."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fallow.errors import InputError, QuestionError, UsageError
from fallow.files.tables import read_equipment, read_links
from fallow.files.tables.anybodys import TableRead, TableTelling, read_by_evidence
from fallow.show.equipment import Kind
from fallow.units import Span

LINKS_OF_MANY = {  # the same two links as five houses would write them
    "de": "Künstler;Gerätetyp;Sendefrequenz in MHz;Bühne;Fest\nAnna;hand;470,125;Ost;ja\nBert;hand;471,3;West;nein\n",
    "fr": "Désignation;Modèle;Fréquence (MHz);Salle;Verrouillé\n"
    "Anna;hand;470,125;Ost;oui\nBert;hand;471,300;West;non\n",
    "es": "Nombre;Modelo;Frecuencia [kHz];Escenario;Fijo\nAnna;hand;470125;Ost;sí\nBert;hand;471300;West;no\n",
    "it": "Nome,Apparecchio,Frequenza,Palco,Bloccato\nAnna,hand,470.125 MHz,Ost,sì\nBert,hand,471.3 MHz,West,no\n",
    "nl": "Naam\tToestel\tFrequentie (Hz)\tPodium\tVast\n"
    "Anna\thand\t470125000\tOst\tja\nBert\thand\t471300000\tWest\tnee\n",
    "pl": "Nazwa|Sprzęt|Częstotliwość GHz|Strefa|Stały\nAnna|hand|0,470125|Ost|tak\nBert|hand|0,4713|West|nie\n",
    "pt": "Nome;Equipamento;Frequência;Local;Fixo\nAnna;hand;470,125;Ost;sim\nBert;hand;471,3;West;não\n",
    "en": "Performer;Model;TX Freq.;Stage;Locked\nAnna;hand;470.125;Ost;x\nBert;hand;471.3;West;\n",
    "units below": "Performer;Model;Freq;Stage;Locked\n;;(MHz);;\nAnna;hand;470.125;Ost;x\nBert;hand;471.3;West;-\n",
    "marked": "| Performer | Model | MHz | Stage | Locked |\n|---|---|---|---|---|\n"
    "| Anna | hand | 470.125 | Ost | yes |\n| Bert | hand | 471.3 | West | no |\n",
}


def read(tmp_path: Path, text: str, kind: str, encoding: str = "utf-8", **telling: object) -> TableRead:
    path = tmp_path / "table.txt"
    path.write_bytes(text.encode(encoding))
    return read_by_evidence(path, kind, TableTelling(**telling))  # type: ignore[arg-type]


def doubts(found: TableRead) -> list[tuple[int, str, str]]:
    return [(one.line, one.column, one.done) for one in found.doubts]


@pytest.mark.parametrize("language", LINKS_OF_MANY)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "native"])
def test_the_same_links_in_many_languages_and_encodings(tmp_path: Path, language: str, encoding: str) -> None:
    native = {"pl": "cp1250"}.get(language, "cp1252")
    found = read(tmp_path, LINKS_OF_MANY[language], "links", native if encoding == "native" else encoding)
    assert doubts(found) == []
    seen = [(one.name, one.equipment, one.area, one.frequency_hz, one.fixed) for one in found.values]
    assert seen == [("Anna", "hand", "Ost", 470_125_000, True), ("Bert", "hand", "West", 471_300_000, False)]


def test_it_says_how_each_column_was_understood(tmp_path: Path) -> None:
    found = read(tmp_path, "List of an invented night\n\n" + LINKS_OF_MANY["de"].replace("Fest", "Rack"), "links")
    assert found.heading_line == 3
    assert (found.delimiter, found.decimal) == (";", ",")
    assert [(one.heading, one.means, one.unit) for one in found.columns] == [
        ("Künstler", "link", None),
        ("Gerätetyp", "equipment", None),
        ("Sendefrequenz in MHz", "frequency_mhz", "MHz"),
        ("Bühne", "area", None),
        ("Rack", None, None),
    ]
    assert found.values[0].extra == {"Rack": "ja"}


def test_every_cell_in_doubt_is_listed_and_nothing_is_guessed(tmp_path: Path) -> None:
    text = (
        "name;type;freq (MHz);fixed;prio\n"
        "a;hand;470,125;;1\n"  # line 2
        "b;hand;471.300;;2\n"  # another mark than the table's
        "c;hand;47l,5;;\n"  # no number
        "d;hand;472,0;perhaps;9\n"  # two cells
        "a;hand;473,0;;\n"  # the name again
        "e;;474,0;;\n"  # no equipment
        "f;hand;200;;\n"  # no frequency of a link
        "g;hand;475,0;;;more\n"  # too many cells
        "h;hand;;yes;\n"  # fixed, and no frequency
    )
    found = read(tmp_path, text, "links")
    assert doubts(found) == [
        (3, "freq (MHz)", "left empty"),
        (4, "freq (MHz)", "left empty"),
        (5, "fixed", "left empty"),
        (5, "prio", "left empty"),
        (6, "name", "row left out"),
        (7, "type", "row left out"),
        (9, "", "row left out"),
        (10, "freq (MHz)", "row left out"),
    ]
    assert [(one.name, one.frequency_hz) for one in found.values] == [
        ("a", 470_125_000), ("b", None), ("c", None), ("d", 472_000_000), ("f", 200_000_000),
    ]  # fmt: skip
    assert found.left_out == 4


def test_a_table_without_headings_is_read_by_its_cells(tmp_path: Path) -> None:
    text = "7;Mic 1;hand;470.125;x\n8;Mic 2;hand;471.3;y\n9;Mic 3;hand;480.05;z\n"
    found = read(tmp_path, text, "plan", known={"equipment": ["hand", "ear"]})
    assert found.heading_line is None
    assert [(one.link, one.equipment, one.frequency_hz) for one in found.values] == [
        ("Mic 1", "hand", 470_125_000), ("Mic 2", "hand", 471_300_000), ("Mic 3", "hand", 480_050_000),
    ]  # fmt: skip
    assert [one.how for one in found.columns if one.means] == ["its cells"] * 3


def test_strangers_without_a_name_are_called_by_their_lines(tmp_path: Path) -> None:
    found = read(tmp_path, "MHz\n470.125\n471.3\n", "foreign")
    assert [(one.name, one.frequency_hz) for one in found.values] == [("line 2", 470_125_000), ("line 3", 471_300_000)]
    found = read(tmp_path, "who,MHz\nA,470.125\n,471.3\nA,472.5\n", "foreign")
    assert [one.name for one in found.values] == ["A", "line 3", "A, line 4"]
    assert [one.line for one in found.doubts] == [3, 4]


def test_columns_set_apart_by_blanks(tmp_path: Path) -> None:
    text = "Nome        Frequenza (kHz)   Banda (kHz)\n"
    text += "Guest A     470125            200\n            471300  200\nGuest B  1\n"
    found = read(tmp_path, text, "foreign")
    assert [(one.name, one.frequency_hz, one.bandwidth_hz) for one in found.values] == [
        ("Guest A", 470_125_000, 200_000), ("line 3", 471_300_000, 200_000),
    ]  # fmt: skip
    assert doubts(found) == [(3, "Nome", "called 'line 3'"), (4, "", "row left out")]


def test_equipment_in_another_language_is_as_our_own_table_says_it(tmp_path: Path) -> None:
    ours = tmp_path / "ours.csv"
    ours.write_text(
        "equipment,kind,tuning_mhz,step_khz,bandwidth_khz,power_mw,spacing_khz\n"
        "hand,microphone,470-516;520-530,25,200,30,400\near,in-ear,518-550,25,200,50,600\n",
        encoding="utf-8",
    )
    text = (
        "Typ urządzenia;Rodzaj;Zakres (MHz);Krok (kHz);Szerokość pasma;Moc;Odstęp (kHz)\n"
        "hand;mikrofon;470-516;25;200;30;400\near;odsłuch;518-550;25;200;0,05 W;600\n"
    ).replace("470-516", "470-516|520-530")
    found = read(tmp_path, text, "equipment")
    assert {one.name: one for one in found.values} == read_equipment(ours)
    assert "taken as kHz" in next(one.how for one in found.columns if one.means == "bandwidth_khz")
    assert [one.kind for one in found.values] == [Kind.MICROPHONE, Kind.IN_EAR]
    assert found.values[0].tuning[1] == Span(520_000_000, 530_000_000)


def test_areas_and_stations(tmp_path: Path) -> None:
    found = read(tmp_path, "Bereich;zu;Dämpfung (dB)\nOst;West;20\nOst;Foyer;getrennt\nOst;Ost;3\n", "areas")
    assert found.values == (("Ost", "West", 20.0), ("Ost", "Foyer", None))
    assert doubts(found) == [(4, "zu", "row left out")]
    found = read(tmp_path, "Canale TV;Fonte\ncanal 21;lista\n34;lista\n", "stations")
    assert [one.channel for one in found.values] == ["21", "34"]


def test_what_can_not_be_settled_is_asked_and_can_be_told(tmp_path: Path) -> None:
    with pytest.raises(QuestionError, match="no column is known to be equipment") as caught:
        read(tmp_path, "Name;Frequenz MHz;Lampe\nAnna;470,125;3\n", "links")
    assert caught.value.readings == ("Name", "Frequenz MHz", "Lampe")
    told = read(tmp_path, "Name;Frequenz MHz;Lampe\nAnna;470,125;3\n", "links", fills={"equipment": "hand"})
    assert [(one.equipment, one.frequency_hz) for one in told.values] == [("hand", 470_125_000)]
    told = read(tmp_path, "Name;MHz;Lampe\nAnna;470,125;3\n", "links", columns={"equipment": "Lampe"})
    assert told.values[0].equipment == "3"
    with pytest.raises(QuestionError, match=r"may be 1\.250 or 1250"):
        read(tmp_path, "name;freq;bandwidth (kHz)\na;471;1,250\n", "foreign")
    told = read(tmp_path, "name;freq;bandwidth (kHz)\na;471;1,250\n", "foreign", decimal=".")
    assert told.values[0].bandwidth_hz == 1_250_000
    with pytest.raises(QuestionError, match="the unit of the frequencies is not clear"):
        read(tmp_path, "name;freq\na;3\nb;470.5\nc;4\n", "foreign")


@pytest.mark.parametrize(
    ("telling", "said"),
    [
        ({"columns": {"colour": "Name"}}, "there is no column 'colour'"),
        ({"columns": {"area": "Saal"}}, "the table has no column 'Saal'"),
        ({"fills": {"priority": "high"}}, "--fill priority: 'high' is no number"),
    ],
)
def test_what_can_not_be_told_is_a_sentence(tmp_path: Path, telling: dict[str, object], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        read(tmp_path, "Name;type;MHz\nAnna;hand;470,125\n", "links", **telling)


@pytest.mark.parametrize("text", ["", "\n\n", "PK\x03\x04", "\x00\x01\x02\x03"])
def test_what_is_no_table_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        read(tmp_path, text, "links")


words = st.text(st.characters(categories=["Ll", "Lu"], max_codepoint=0x17F), min_size=2, max_size=8)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.tuples(words, st.integers(20_000_000, 5_999_999_999), st.integers(1, 5)), min_size=1, max_size=8,
             unique_by=lambda row: row[0].casefold()),
    st.sampled_from([";", "\t", "|"]), st.sampled_from([",", "."]), st.permutations(range(4)),
)  # fmt: skip
def test_any_table_of_ours_respelled_is_read_as_ours(
    tmp_path: Path, rows: list[tuple[str, int, int]], delimiter: str, decimal: str, order: list[int]
) -> None:
    """Truth: our own strict reader on the plain spelling."""
    plain = [["link", "equipment", "frequency_mhz", "priority"]]
    plain += [[f"{name} x", "hand", f"{hz / 1e6:.6f}", str(priority)] for name, hz, priority in rows]
    other = [[cell.replace(".", decimal) if n == 2 and line else cell for n, cell in enumerate(row)]
             for line, row in enumerate(plain)]  # fmt: skip
    other[0] = ["Bezeichnung", "Modell", "Frequenz / MHz", "Wichtigkeit"]
    ours = tmp_path / "ours.csv"
    ours.write_text("\n".join(",".join(row) for row in plain) + "\n", encoding="utf-8")
    text = "\n".join(delimiter.join(row[n] for n in order) for row in other) + "\n"
    found = read(tmp_path, text, "links")
    assert found.values == tuple(read_links(ours))
    assert doubts(found) == []


@pytest.mark.parametrize(
    ("heading", "first", "second"),
    [
        ("Frequenz (Hz)", "470.025.000", "471.125.000"),
        ("Frequenz", "470.025.000", "471.125.000"),
        ("Frequenz (kHz)", "470.025", "471.125"),
        ("Frequenz", "470.025 kHz", "471.125 kHz"),
        ("Frequency (Hz)", "470,025,000", "471,125,000"),
        ("Frequency (kHz)", "470,025", "471,125"),
        ("Frequency (MHz)", "470.025", "471.125"),
        ("Frequenz (MHz)", "470,025", "471,125"),
    ],
)
@pytest.mark.parametrize("kind", ["links", "foreign"])
def test_marks_between_thousands_are_told_from_decimal_ones(
    tmp_path: Path, heading: str, first: str, second: str, kind: str
) -> None:
    text = f"Name;Equipment;{heading}\nAnna;hand;{first}\nBert;hand;{second}\n"
    found = read(tmp_path, text, kind)
    assert [one.frequency_hz for one in found.values] == [470_025_000, 471_125_000]
    assert found.doubts == ()


def test_marks_of_two_kinds_in_one_table_leave_the_fewer_in_doubt(tmp_path: Path) -> None:
    text = "Name;type;kHz\nAnna;hand;470.025\nBert;hand;471.125\nCara;hand;472125.5\n"
    found = read(tmp_path, text, "links")
    assert [one.frequency_hz for one in found.values] == [470_025_000, 471_125_000, None]
    (doubt,) = found.doubts
    assert (doubt.line, doubt.why) == (4, "'472125.5' has a decimal point, the table another mark")


def test_a_cell_out_of_range_is_in_doubt_once(tmp_path: Path) -> None:
    found = read(tmp_path, "name;frequency_mhz\na;470.025\nb;9999999\nc;471.5\n", "foreign")
    (doubt,) = found.doubts
    assert (doubt.line, doubt.cell, doubt.done) == (3, "9999999", "row left out")
    assert doubt.why == "the number does not fit the others in MHz"
    assert (found.left_out, [one.name for one in found.values]) == (1, ["a", "c"])


TWO_COLUMNS = [
    ("Old Frequency (MHz)", "New Frequency (MHz)", "470.125", "480.3"),
    ("Alt MHz", "Neu MHz", "470,125", "480,3"),
    ("TX", "RX", "470.125", "480.300"),
    ("TX Freq", "RX Freq", "470.125", "480.3"),
    ("Frequency kHz", "Frequency MHz", "470125", "480.3"),
]


@pytest.mark.parametrize(("one", "other", "first", "second"), TWO_COLUMNS)
@pytest.mark.parametrize("kind", ["links", "plan", "foreign"])
def test_two_columns_of_frequencies_that_differ_are_asked_about(
    tmp_path: Path, one: str, other: str, first: str, second: str, kind: str
) -> None:
    text = f"Name;Equipment;{one};{other}\nAnna;hand;{first};{second}\nBert;hand;{first};{second}\n"
    with pytest.raises(QuestionError, match=r"differ in line 2: which one is meant\?") as caught:
        read(tmp_path, text, kind)
    assert caught.value.readings == (f"column 3, {one}: {first}", f"column 4, {other}: {second}")
    assert caught.value.hint == "say it by heading or number: --column frequency=HEADING"
    for told, frequency_hz in ((one, 470_125_000), ("4", 480_300_000)):
        found = read(tmp_path, text.replace("Bert", "Cara"), kind, columns={"frequency": told})
        assert found.values[0].frequency_hz == frequency_hz


@pytest.mark.parametrize(
    "rows",
    [
        "name;type;kHz;MHz\nAnna;hand;470125;470.125\nBert;hand;471300;471.3\n",
        "name;type;Old MHz;New MHz\nAnna;hand;470.125;470.125\nBert;hand;471.3;471.300\n",
        "name;type;Old MHz;New MHz\nAnna;hand;;470.125\nBert;hand;;471.3\n",
        "name;type;Frequency;Backup frequency\nAnna;hand;470.125;480.3\nBert;hand;471.3;482.1\n",
        "name;type;Frequency;Frequency range\nAnna;hand;470.125;470-526\nBert;hand;471.3;470-526\n",
        "name;type;Frequency;Frequency step\nAnna;hand;470.125;25\nBert;hand;471.3;25\n",
        "name;type;Frequency;Width\nAnna;hand;470.125;200\nBert;hand;471.3;200\n",
    ],
)
def test_columns_that_agree_or_are_something_else_are_not_asked_about(tmp_path: Path, rows: str) -> None:
    found = read(tmp_path, rows, "links")
    assert [one.frequency_hz for one in found.values] == [470_125_000, 471_300_000]


def test_a_frequency_that_only_one_of_two_columns_has_is_asked_about(tmp_path: Path) -> None:
    rows = "name;type;Old MHz;New MHz\nAnna;hand;470.125;470.125\nBert;hand;;471.3\n"
    with pytest.raises(QuestionError, match="differ in line 3") as caught:
        read(tmp_path, rows, "links")
    assert caught.value.readings == ("column 3, Old MHz: nothing", "column 4, New MHz: 471.3")


def test_our_own_readers_refuse_two_that_differ(tmp_path: Path) -> None:
    path = tmp_path / "links.csv"
    path.write_text("link,equipment,frequency_mhz,frequency_khz\nAnna,hand,470.125,480300\n", encoding="utf-8")
    with pytest.raises(InputError, match="two columns hold frequencies and differ") as caught:
        read_links(path)
    assert caught.value.line == 2
    for same in ("470125", ""):
        path.write_text(f"link,equipment,frequency_mhz,frequency_khz\nAnna,hand,470.125,{same}\n", encoding="utf-8")
        assert read_links(path)[0].frequency_hz == 470_125_000


def test_our_own_readers_know_marks_between_thousands(tmp_path: Path) -> None:
    path = tmp_path / "links.csv"
    path.write_text("link;equipment;Frequenz (Hz)\nAnna;hand;470.025.000\n", encoding="utf-8")
    assert read_links(path)[0].frequency_hz == 470_025_000
    path.write_text("link;equipment;Frequenz (kHz)\nAnna;hand;470.025\nBert;hand;471125.5\n", encoding="utf-8")
    with pytest.raises(
        InputError, match=r"'470\.025' has a point between its thousands, and '471125\.5' has a decimal"
    ):
        read_links(path)


@pytest.mark.parametrize("blank", ["\u00a0", "\u202f", "\u2009", "  ", "\t", "", "\u00a0 "])
def test_any_blank_may_stand_between_a_number_and_its_unit(tmp_path: Path, blank: str) -> None:
    """No-break and thin spaces, as the SI Brochure (9th ed., 5.4.3) and typographers set them before a unit."""
    found = read(tmp_path, f"name;frequency;bandwidth\na;491.5{blank}MHz;200{blank}kHz\n", "foreign")
    assert [(one.frequency_hz, one.bandwidth_hz) for one in found.values] == [(491_500_000, 200_000)]
    assert found.doubts == ()


def test_a_doubt_quotes_the_cell_as_people_see_it(tmp_path: Path) -> None:
    found = read(tmp_path, "name;frequency\na;47l.5\u00a0MHz\nb;470.5\nc;47\x905\n", "foreign")
    assert [one.why for one in found.doubts] == [
        "'47l.5 MHz' is no number",
        "'47\N{REPLACEMENT CHARACTER}5' is no number",
    ]


@pytest.mark.parametrize(
    ("heading", "cells", "means", "in_doubt"),
    [
        ("Priority", ("high", "A", "10"), "priority", 3),
        ("Prio", ("hoch", "", "n/a"), "priority", 1),
        ("Frequency", ("tbd", "n/a", "later"), "frequency_mhz", 2),
        ("Frequenz", ("470.1", "n/a", "none"), "frequency_mhz", 0),
        ("F", ("m", "w", "m"), None, 0),  # one letter says too little
    ],
)
def test_a_known_column_without_a_readable_cell_is_told_cell_by_cell(
    tmp_path: Path, heading: str, cells: tuple[str, str, str], means: str | None, in_doubt: int
) -> None:
    rows = "".join(f"vox {n},hand,{cell}\n" for n, cell in enumerate(cells))
    found = read(tmp_path, f"Link,Equipment,{heading}\n{rows}", "links")
    assert found.columns[2].means == means
    assert [(one.column, one.done) for one in found.doubts] == [(heading, "left empty")] * in_doubt
    assert [one.priority for one in found.values] == [3, 3, 3]


def test_where_another_column_can_be_read_the_unreadable_one_is_not_taken(tmp_path: Path) -> None:
    found = read(tmp_path, "Link,Equipment,Frequency,TX\nA,hand,tbd,470.125\nB,hand,tbd,471.3\n", "links")
    assert [one.frequency_hz for one in found.values] == [470_125_000, 471_300_000]
    assert [one.means for one in found.columns] == ["link", "equipment", None, "frequency_mhz"]


@pytest.mark.parametrize(
    ("heading", "yes", "no"),
    [
        *(("Do not move", "yes", "no"), ("Please do not move!", "x", ""), ("Nicht verschieben", "ja", "nein")),
        *(("Ne pas déplacer", "oui", "non"), ("movable", "no", "yes"), ("Can be moved", "n", "y")),
        *(("verschiebbar", "nein", "ja"), ("Déplaçable", "non", "oui"), ("Not fixed", "false", "true")),
        *(("przesuwalny", "nie", "tak"), ("Spostabile", "no", "sì"), ("Unlocked", "0", "1")),
    ],
)
def test_who_may_not_move_is_fixed_however_it_is_said(tmp_path: Path, heading: str, yes: str, no: str) -> None:
    text = f"Link,Equipment,Frequency,{heading}\nA,hand,470.125,{yes}\nB,hand,471.3,{no}\n"
    found = read(tmp_path, text, "links")
    assert (found.columns[3].means, found.doubts) == ("fixed", ())
    assert [one.fixed for one in found.values] == [True, False]


def test_a_word_that_is_neither_is_told_and_our_own_way_of_saying_it_counts(tmp_path: Path) -> None:
    found = read(tmp_path, "Link,Equipment,Frequency,movable\nA,hand,470.125,perhaps\n", "links")
    assert doubts(found) == [(2, "movable", "left empty")]
    found = read(tmp_path, "Link,Equipment,Frequency,movable,fixed\nA,hand,470.125,yes,yes\n", "links")
    assert found.values[0].fixed
    assert found.columns[3].means is None
    text = "Link,Equipment,Frequency,movable\nA,hand,470.125,yes\n"
    assert read(tmp_path, text, "links", columns={"fixed": "movable"}).values[0].fixed  # as she tells


@pytest.mark.parametrize(
    ("heading", "cell", "is_off"),
    [
        *(("Active", "no", True), ("Active", "yes", False), ("Muted", "yes", True), ("Muted", "no", False)),
        *(("In Gebrauch", "nein", True), ("Gestrichen", "ja", True), ("Activo", "no", True), ("Active", "", False)),
    ],
)
def test_a_link_that_is_off_is_told(tmp_path: Path, heading: str, cell: str, is_off: bool) -> None:
    found = read(tmp_path, f"Link,Equipment,{heading}\nA,hand,{cell}\nB,hand,\n", "links")
    assert [(one.line, one.column, one.cell) for one in found.doubts] == ([(2, heading, cell)] if is_off else [])
    assert len(found.values) == 2


def test_two_figures_for_one_pair_of_areas_are_both_named(tmp_path: Path) -> None:
    square = "loss,stage,foyer,cellar\nstage,,20,apart\nfoyer,30,,\ncellar,apart,,\n"
    found = read(tmp_path, square, "areas")
    assert set(found.values) == {("stage", "foyer", 20.0), ("stage", "cellar", None)}
    (doubt,) = found.doubts
    assert doubt.why == "'foyer / stage' stands in line 2 already with 20 dB, here 30 dB"
    assert read(tmp_path, "area,other,loss\nstage,foyer,20\nfoyer,stage,20\n", "areas").doubts == ()


def test_a_word_below_an_empty_heading_belongs_to_it(tmp_path: Path) -> None:
    found = read(tmp_path, "Name,Equipment,,Notes\n,,TX,\nX,low,470.1,n\n", "links")
    assert [(one.name, one.frequency_hz) for one in found.values] == [("X", 470_100_000)]


def test_an_area_has_one_spelling_that_of_the_show_where_it_has_one(tmp_path: Path) -> None:
    text = "Link,Equipment,Area\nA,hand,Stage\nB,hand,STAGE \nC,hand,Hall 01\nD,hand,hall1\nE,hand,hall 10\nF,hand,-\n"
    found = read(tmp_path, text, "links", known={"area": ("stage",)})
    assert [one.area for one in found.values] == ["stage", "stage", "Hall 01", "Hall 01", "hall 10", ""]
    taken = (("Stage", "stage"), ("STAGE", "stage"), ("hall1", "Hall 01"))
    assert found.notes == tuple(f"the area {name!r} is taken as {area!r}" for name, area in taken)
    pairs = read(tmp_path, "area,other,loss\nSTAGE,Foyer,20\nfoyer,cellar,30\n", "areas", known={"area": ("stage",)})
    assert list(pairs.values) == [("stage", "Foyer", 20.0), ("Foyer", "cellar", 30.0)]

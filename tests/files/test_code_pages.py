"""Tables in old encodings of eight bits. Truth: the encoder (Python's codecs, from the Unicode Consortium's tables)."""

from __future__ import annotations

from pathlib import Path

import pytest

from fallow.errors import UsageError
from fallow.files.tables.anybodys import TableTelling, read_by_evidence

WESTERN, CENTRAL = ("cp1252", "mac-roman", "cp850"), ("cp1250", "iso8859-2")
TABLES = {  # invented; "yes" in the second row's last cell but one language
    "Künstler;Gerätetyp;Frequenz MHz;Bühne;Fest\nJörg Groß;hand;470,125;Straße;ja\n": WESTERN,
    "Désignation;Modèle;Fréquence MHz;Salle;Verrouillée\nHélène;hand;470,125;Forêt;oui\n": WESTERN,
    "Nombre;Modelo;Frecuencia MHz;Escenario;Fija\nIñigo Peón;hand;470,125;Salón;sí\n": ("cp1252", "mac-roman"),
    "Denominazione;Modello;Frequenza MHz;Palco;Fissa\nNiccolò;hand;470,125;Città;sì\n": ("cp1252", "mac-roman"),
    "Designação;Modelo;Frequência MHz;Local;Fixa\nJoão;hand;470,125;São Brás;sim\n": WESTERN,
    "Nazwa;Sprzęt;Częstotliwość MHz;Strefa;Stała\nŁucja Żak;hand;470,125;Główna;tak\n": CENTRAL,
    "Nazwa;Sprzęt;Częstotliwość MHz;Strefa;Stały\nEwa;hand;470,125;Scena;tak\n": CENTRAL,
}


def read(tmp_path: Path, raw: bytes, encoding: str | None = None) -> tuple[str, list[object], tuple[str, ...]]:
    """The encoding, what the first row says, and the notes."""
    path = tmp_path / "table.csv"
    path.write_bytes(raw)
    found = read_by_evidence(path, "links", TableTelling(encoding=encoding))
    link = found.values[0]
    return found.encoding, [link.name, link.area, link.fixed, link.frequency_hz], found.notes


@pytest.mark.parametrize(("text", "encoding"), [(text, one) for text, many in TABLES.items() for one in many])
def test_letters_tell_the_code_page(tmp_path: Path, text: str, encoding: str) -> None:
    name, *_, area, _ = text.splitlines()[1].split(";")
    found, said, notes = read(tmp_path, text.encode(encoding))
    assert said == [name, area, True, 470_125_000]
    assert not [note for note in notes if "letters" in note or "may be" in note], found


def test_what_letters_do_not_tell_is_told_and_can_be_said(tmp_path: Path) -> None:
    raw = "name;equipment;frequency MHz;stage;fixed\nZoń;hand;470,125;Ost;yes\n".encode("cp1250")
    encoding, said, notes = read(tmp_path, raw)
    assert (encoding, said[0]) == ("cp1252", "Zoñ")
    assert any("'Zoñ' may be 'Zoń': then say --encoding cp1250" in note for note in notes)
    encoding, said, notes = read(tmp_path, raw, "windows-1250")
    assert (encoding, said[0]) == ("cp1250", "Zoń")
    assert not any("may be" in note for note in notes)


def test_what_no_language_has_is_told(tmp_path: Path) -> None:
    _, _, notes = read(tmp_path, "name;equipment;frequency MHz\nЖанна Щука;hand;470,125\n".encode("cp1251"))
    assert any("letters can't be read" in note for note in notes)


@pytest.mark.parametrize("name", ["none such", "base64", "zip", "", "rot13"])
def test_what_is_no_encoding_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="is no encoding of text"):
        read(tmp_path, b"name;equipment\nAnna;hand\n", name)

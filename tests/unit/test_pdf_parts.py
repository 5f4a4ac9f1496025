"""Parts of the sheets: text in lines, figures as drawings have them, tables that go on, scales."""

from __future__ import annotations

from pathlib import Path

import pytest
from pypdf import PdfReader

from wallquant.units import FOOT, INCH, inches
from wallquant.writers.pdf.flow import Flow
from wallquant.writers.pdf.letters import ODD
from wallquant.writers.pdf.paper import Book, distinct, feet, plain, scale_text, short, width, wrapped


@pytest.mark.parametrize(
    ("length", "said"),
    [
        (0, '0"'),
        (inches("1/2"), '1/2"'),
        (inches("7-7/8"), '7 7/8"'),
        (FOOT, "1'-0\""),
        (FOOT + inches("11-15/16"), "1'-11 15/16\""),
        (-inches("3/8"), '-3/8"'),
        (12 * FOOT + inches("1/2"), "12'-0 1/2\""),
        (INCH // 64, '0"'),
    ],
)
def test_feet_and_inches(length: int, said: str) -> None:
    assert feet(length) == said


def test_scales_are_called_as_on_a_ruler() -> None:
    """Architect's scales: 1/4 in = 1 ft is 1:48, 1/2 in is 1:24 (a foot is 12 in)."""
    assert scale_text(48, "in") == "scale 1/4 in = 1 ft (1:48)"
    assert scale_text(24, "in") == "scale 1/2 in = 1 ft (1:24)"
    assert scale_text(25, "mm") == "scale 1:25"


@pytest.mark.parametrize("words", ["one two three four five six seven", "w" * 200, "a " + "b" * 90 + " c", "", "  spaced   out  "])
@pytest.mark.parametrize("most", [12.0, 60.0, 400.0])
def test_lines_keep_every_letter_and_their_width(words: str, most: float) -> None:
    lines = wrapped(words, most, 8)
    assert "".join("".join(lines).split()) == "".join(words.split())
    assert all(width(line, 8) <= most for line in lines)


def test_what_the_font_has_not_is_seen() -> None:
    assert plain("Łódka – naïve") == "Łódka – naïve"
    assert plain("e\u0301") == "é", "letters are composed"
    assert plain("壁\u202e\x07\n.") == ODD * 3 + " ."
    assert short("abcdef", 1000, 8) == "abcdef"
    assert short("abcdef" * 20, 40, 8).endswith("…")


@pytest.mark.parametrize(
    ("name", "drawn"),
    [
        ("Śćiana nośna żółta", "Sćiana nosna zółta"),  # the font has ć, ó and ł
        ("Příčka, Türe, çatı, ő, ș, ħ", "Príčka, Türe, çatı, o, s, h"),
        ("Стена Ж-1 (й, ё, щ)", "Stena Zh-1 (y, yo, shch)"),
        ("Стіна Їжак Ґ", "Stina Yizhak G"),
        ("Τοίχος Β2, Ώμος", "Toichos V2, Omos"),
        ("№ 7, ②", "No. 7, 2"),
    ],
)
def test_names_of_other_alphabets_can_be_said_aloud(name: str, drawn: str) -> None:
    assert plain(name) == drawn


def test_names_that_are_lost_carry_their_key() -> None:
    """A name in letters that nothing stands for is told apart by its GlobalId; one that only loses marks is not."""
    assert distinct("壁 2", "2O2Fr_t4X7Zf8NOew3FLOH") == "壁 2 2O2Fr_t4X7Zf8NOew3FLOH"
    assert plain(distinct("壁 2", "2O2F")) == f"{ODD} 2 2O2F"
    assert distinct("Стена", "2O2F") == "Стена" and distinct("Why?", "2O2F") == "Why?"
    assert distinct("壁", "壁") == "壁", "a wall list's name is its key"


@pytest.mark.parametrize("system", ["mm", "in"])
def test_a_table_goes_on_with_its_head(tmp_path: Path, system: str) -> None:
    book = Book.at(tmp_path / "t.pdf", system=system, model="m")
    flow = Flow(book=book, title="T")
    flow.heading("H")
    flow.table(("number", "words"), (1, 3), ((f"n{n}", "some words " * (n % 7)) for n in range(400)), right=(0,), tick=True)
    book.close()
    pages = [p.extract_text() for p in PdfReader(tmp_path / "t.pdf").pages]
    assert len(pages) > 3
    rows = [line.strip() for page in pages for line in page.splitlines() if line.strip()[:1] == "n" and line.strip()[1:].isdigit()]
    assert rows == [f"n{n}" for n in range(400)]
    assert all(page.count("number") == 2 for page in pages[:-1]), "each column has the head"
    assert pages[1].startswith("T, continued")


def test_a_row_higher_than_a_page_is_not_lost(tmp_path: Path) -> None:
    book = Book.at(tmp_path / "t.pdf", system="mm", model="m")
    flow = Flow(book=book, title="T")
    flow.table(("a", "b"), (1, 1), [("x", " ".join(f"w{n}" for n in range(3000)))])
    book.close()
    text = " ".join(p.extract_text() for p in PdfReader(tmp_path / "t.pdf").pages)
    assert all(f"w{n}" in text.split() for n in range(3000))

"""Tables and digital certificates of calibrations: what is read, and what is refused in words."""

from __future__ import annotations

import io
import zipfile

import openpyxl
import pytest

from equipment.metrology.certificates import points_of_table
from equipment.metrology.dcc import read_dcc, unit_symbol
from equipment.metrology.tables import MOST_BYTES, TableRefused, number_of, read_table, read_text
from tests.integration.equipment.dcc_text import certificate

PASTED = (
    "Moment\tUnit\tReference\tReading\tUncertainty\tk\nas found\tkV\t50\t50,6\t0,2\t2\nAs left\tkV\t50\t50,1\t0,2\t\n"
)


def test_points_pasted_from_a_sheet_with_decimal_commas():
    points = points_of_table(read_text(PASTED)).points
    assert [(p.moment, p.unit, p.reference, p.reading, p.expanded_uncertainty, p.coverage_factor) for p in points] == [
        ("as_found", "kV", 50.0, 50.6, 0.2, 2.0),
        ("as_left", "kV", 50.0, 50.1, 0.2, 2.0),
    ]


@pytest.mark.parametrize(("head", "value"), [("Correction", "-0.5"), ("Error [kV]", "0.5"), ("Reading (kV)", "50.5")])
def test_the_reading_comes_from_correction_or_error_too(head, value):
    rows = read_text(f"Reference,{head},U (k=2)\n50,{value},0.1\n")
    assert points_of_table(rows, unit="kV").points[0].reading == pytest.approx(50.5)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Reference,Reading\n50,50\n", "No row of heads"),
        ("Reference,Uncertainty\n50,1\n", "needs a column for the reading"),
        ("Reference,Reading,Uncertainty\n", "no point below"),
        ("Reference,Reading,Uncertainty\n50,OVL,0.1\n", "Row 2"),
        ("Reference,Reading,Uncertainty\n50,50,\n", "Row 2 lacks its reference value or its uncertainty"),
        ("Reference,Reading,Uncertainty\n50,50,0\n", "must be above zero"),
        ("Reference,Reading,Uncertainty\n50,,0.1\n", "Row 2 lacks its reading"),
        ("Reference,Reading,Error,Uncertainty\n50,50.5,0.2,0.1\n", "contradict each other"),
        ("Moment,Reference,Reading,Uncertainty\nlater,50,50,0.1\n", "neither as found nor as left"),
        ("Reference,Reading,Uncertainty\n50,0,50,1,0,2\n", "more cells than there are heads"),
        ("Reference;Reading;Uncertainty\n1.000,5;50;0.1\n", "both a comma and a point"),
        ("", "holds no row"),
    ],
)
def test_what_is_no_table_of_points_is_refused_with_its_row(text, words):
    with pytest.raises(TableRefused) as refusal:
        points_of_table(read_text(text), unit="kV")
    assert words in str(refusal.value)


def test_a_missing_unit_is_asked_for():
    with pytest.raises(TableRefused, match="names no unit"):
        points_of_table(read_text("Reference,Reading,Uncertainty\n50,50,0.1\n"))


def test_a_point_that_is_far_off_is_said_but_not_refused():
    read = points_of_table(read_text("Reference,Reading,Uncertainty\n50,5,0.1\n"), unit="kV")
    assert read.oddities == ("Point 1 reads 5 kV at 50 kV; is it right?",)


def spreadsheet(rows) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_a_spreadsheet_gives_the_same_points_as_its_text():
    content = spreadsheet([["Certificate", "K-9"], ["Reference", "Reading", "Uncertainty"], [50, 50.25, 0.1]])
    point = points_of_table(read_table(content, "points.xlsx"), unit="kV").points[0]
    assert (point.reference, point.reading, point.expanded_uncertainty) == (50.0, 50.25, 0.1)


def test_files_that_are_no_table_are_refused():
    bomb = io.BytesIO()
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as parts:
        parts.writestr("xl/worksheets/sheet1.xml", b"0" * 20_000_000)
    for content, words in [
        (b"", "empty"),
        (b"a" * (MOST_BYTES + 1), "over 10 MB"),
        (bomb.getvalue(), "unpacks to far more"),
        (b"PK\x03\x04 torn", "damaged"),
        (b"MZ\x00\x00", "neither CSV nor XLSX"),
        (b"x" * 600, "more than 500 characters"),
        ("\n".join(["1,2"] * 6000).encode(), "more than 5000 rows"),
    ]:
        with pytest.raises(TableRefused, match=words):
            read_table(content, "points")


@pytest.mark.parametrize(("text", "number"), [("−1,5", -1.5), ("1 234.5", 1234.5), ("", None), ("1e-3", 0.001)])
def test_numbers_as_people_write_them(text, number):
    assert number_of(text) == number


@pytest.mark.parametrize("text", ["nan", "inf", "1,000.5", "12 kV"])
def test_what_is_no_number(text):
    with pytest.raises(ValueError):
        number_of(text)


def test_a_digital_certificate_gives_fields_and_points():
    read = read_dcc(certificate(), "c.xml")
    assert [(p.reference, p.reading, p.expanded_uncertainty) for p in read.points] == [
        (10.0, 10.05, 0.1),
        (50.0, 50.2, 0.2),
        (100.0, 100.6, 0.4),
    ]
    assert {point.unit for point in read.points} == {"kV"}
    assert {point.moment for point in read.points} == {"as_left"}
    assert (read.fields["certificate_number"], read.fields["calibrated_on"]) == ("K-77", "2026-11-01")
    assert read.fields["laboratory"] == "Tarn Metrology (invented)"


def test_points_before_adjustment_are_as_found():
    assert read_dcc(certificate(result="basic_beforeAdjustment"), "c.xml").points[0].moment == "as_found"


BOMB = '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>\n'


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"prolog": BOMB}, "document type or entities"),
        ({"number": ""}, "uniqueIdentifier is missing or empty"),
        ({"readings": "10.05 50.2"}, "3 reference values and 2 readings"),
        ({"spread": "0.1 0.2"}, "3 values and 2 uncertainties"),
        ({"spread": "0.1 0.2 0"}, "not above zero"),
        ({"readings": "10.05 OVL 100"}, "no number"),
        ({"readings": "10.05 INF 100"}, "not finite"),
        ({"unit": r"\kilo\volt \volt"}, "not one unit"),
        ({"unit": r"\ampere"}, "different units"),
    ],
)
def test_a_digital_certificate_that_is_not_sound_is_refused_in_words(changed, words):
    with pytest.raises(TableRefused) as refusal:
        read_dcc(certificate(**changed), "c.xml")
    assert words in str(refusal.value)


@pytest.mark.parametrize("content", [b"", b"<a>", b"<a/>", b"\xff\xfe<", certificate().replace(b'"3.1.1"', b'"2.4"')])
def test_what_is_no_certificate_is_refused(content):
    with pytest.raises(TableRefused):
        read_dcc(content, "c.xml")


@pytest.mark.parametrize(
    ("written", "symbol"),
    [
        (r"\kilogram\metre\tothe{2}\ampere\tothe{-2}\second\tothe{-3}", "Ω"),
        (r"\degreecelsius", "°C"),
        (r"\furlong", r"\furlong"),
    ],
)
def test_units_of_the_schema(written, symbol):
    assert unit_symbol(written) == symbol

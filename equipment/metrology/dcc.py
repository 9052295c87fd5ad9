"""Digital calibration certificates in XML by the open schema: administrative data and lists of points, checked here.

Nothing is fetched and no entity is resolved. What the schema allows and this reader does not know is left out with a
word, never guessed.
"""

from __future__ import annotations

import re
from datetime import date
from typing import Any
from xml.etree.ElementTree import Element

import defusedxml.ElementTree as SafeXML
from defusedxml import DefusedXmlException

from .certificates import MOST_POINTS, ReadCalibration, ReadPoint
from .tables import MOST_BYTES, TableRefused

DCC = "{https://ptb.de/dcc}"
SI = "{https://ptb.de/si}"
MOST_ELEMENTS = 100_000
MOST_DEPTH = 60
# Units of the open schema that occur here, as the laboratory writes them.
_UNITS: dict[str, str] = {
    r"\volt": "V",
    r"\kilo\volt": "kV",
    r"\milli\volt": "mV",
    r"\ampere": "A",
    r"\milli\ampere": "mA",
    r"\ohm": "Ω",
    r"\milli\ohm": "mΩ",
    r"\kilo\ohm": "kΩ",
    r"\mega\ohm": "MΩ",
    r"\kelvin": "K",
    r"\degreecelsius": "°C",
    r"\coulomb": "C",
    r"\pico\coulomb": "pC",
    r"\nano\coulomb": "nC",
    r"\second": "s",
    r"\micro\second": "µs",
    r"\hertz": "Hz",
    r"\kilo\pascal": "kPa",
    r"\pascal": "Pa",
    r"\percent": "%",
    r"\one": "1",
    r"\farad": "F",
    r"\henry": "H",
    r"\metre": "m",
}
# What the schema asks for in every certificate; an empty one is as good as missing.
_OBLIGATORY = (
    "administrativeData/dccSoftware/software/release",
    "administrativeData/coreData/countryCodeISO3166_1",
    "administrativeData/coreData/usedLangCodeISO639_1",
    "administrativeData/coreData/mandatoryLangCodeISO639_1",
    "administrativeData/coreData/uniqueIdentifier",
    "administrativeData/coreData/beginPerformanceDate",
    "administrativeData/coreData/endPerformanceDate",
    "administrativeData/coreData/performanceLocation",
    "administrativeData/items/item/identifications/identification/value",
    "administrativeData/calibrationLaboratory/contact/name/content",
    "administrativeData/respPersons/respPerson/person/name/content",
    "administrativeData/customer/name/content",
    "measurementResults/measurementResult/results/result/data",
)
_OHM = {"kilogram": 1, "metre": 2, "second": -3, "ampere": -2}
_VOLT = {"kilogram": 1, "metre": 2, "second": -3, "ampere": -1}
_PART = re.compile(r"\\([a-z]+)(?:\\tothe\{(-?\d+)\})?")


def read_dcc(content: bytes, name: str) -> ReadCalibration:
    """Read a digital calibration certificate.

    Parameters
    ----------
    content : bytes
        The XML, at most 10 MB.
    name : str
        Its given name, for the words of a refusal.

    Returns
    -------
    ReadCalibration
        Fields by the names of the calibration form where the certificate has them, the points of every list with a
        reference and a reading (or an error) in one unit, and in `oddities` every list that was left out and why.

    Raises
    ------
    TableRefused
        It is no XML, holds entities or a document type, is no certificate of this schema, lacks an obligatory element,
        or lists differ in length.

    References
    ----------
    The open schema of digital calibration certificates, versions 3.x (names and structure read in version 3.1.1).
    """
    root = _root(content, name)
    version = root.get("schemaVersion", "")
    if root.tag != f"{DCC}digitalCalibrationCertificate" or not version.startswith("3."):
        raise TableRefused(f"“{name}” is no digital calibration certificate of schema version 3.")
    _refuse_incomplete(root, name)
    fields = _fields(root, name)
    points, oddities = _results(root, name)
    if not points:
        why = " ".join(oddities) or "It holds no list of points."
        raise TableRefused(f"“{name}” gives no points that can be used. {why}")
    if len(points) > MOST_POINTS:
        raise TableRefused(f"“{name}” has more than {MOST_POINTS} points.")
    return ReadCalibration(tuple(points), fields, tuple(oddities))


def _root(content: bytes, name: str) -> Element:
    if not content or len(content) > MOST_BYTES:
        raise TableRefused(f"“{name}” is empty or over {MOST_BYTES // 2**20} MB.")
    try:
        root: Element = SafeXML.fromstring(content, forbid_dtd=True, forbid_entities=True, forbid_external=True)
    except DefusedXmlException as fault:
        raise TableRefused(f"“{name}” holds a document type or entities; it was not opened.") from fault
    except (SafeXML.ParseError, ValueError, LookupError) as fault:
        raise TableRefused(f"“{name}” is no sound XML: {fault}.") from fault
    stack, count = [(root, 1)], 0
    while stack:
        element, depth = stack.pop()
        count += 1
        if count > MOST_ELEMENTS or depth > MOST_DEPTH:
            raise TableRefused(f"“{name}” holds more elements, or deeper ones, than a certificate does.")
        stack.extend((child, depth + 1) for child in element)
    return root


def _refuse_incomplete(root: Element, name: str) -> None:
    for path in _OBLIGATORY:
        found = root.find("/".join(f"{DCC}{part}" for part in path.split("/")))
        if found is None or (len(found) == 0 and not _text(found)):
            raise TableRefused(f"“{name}” is not by the schema: {path} is missing or empty.")


def _fields(root: Element, name: str) -> dict[str, Any]:
    admin = f"{DCC}administrativeData"
    core, laboratory = f"{admin}/{DCC}coreData", f"{admin}/{DCC}calibrationLaboratory"
    serial = f"{admin}/{DCC}items/{DCC}item/{DCC}identifications/{DCC}identification/{DCC}value"
    contact = root.find(f"{laboratory}/{DCC}contact/{DCC}name")
    return {
        "certificate_number": _text(root.find(f"{core}/{DCC}uniqueIdentifier"))[:80],
        "laboratory": _content(contact) if contact is not None else "",
        "calibrated_on": _day(_text(root.find(f"{core}/{DCC}endPerformanceDate")), name),
        "accreditation": _text(root.find(f"{laboratory}/{DCC}calibrationLaboratoryCode"))[:80],
        "serials": [_text(value)[:80] for value in root.findall(serial)][:20],
    }


def _text(element: Element | None) -> str:
    return " ".join((element.text or "").split()) if element is not None else ""


def _content(element: Element) -> str:
    """Return the English text of a name, else the first."""
    texts = element.findall(f"{DCC}content")
    english = [text for text in texts if text.get("lang") == "en"]
    found = english or texts
    return _text(found[0])[:200] if found else ""


def _day(text: str, name: str) -> str:
    try:
        return date.fromisoformat(text[:10]).isoformat()
    except ValueError as fault:
        raise TableRefused(f"“{name}”: “{text}” is no day.") from fault


def _results(root: Element, name: str) -> tuple[list[ReadPoint], list[str]]:
    points: list[ReadPoint] = []
    oddities: list[str] = []
    results = root.findall(f"{DCC}measurementResults/{DCC}measurementResult/{DCC}results/{DCC}result")
    if not results:
        raise TableRefused(f"“{name}” is not by the schema: there is no result in measurementResults.")
    for number, result in enumerate(results, start=1):
        for listed in result.findall(f"{DCC}data/{DCC}list"):
            marks = f"{result.get('refType', '')} {listed.get('refType', '')}".lower()
            moment = "as_found" if "before" in marks or "asfound" in marks else "as_left"
            found, odd = _list(listed, moment, f"Result {number}", name)
            points += found
            oddities += odd
    return points, oddities


def _list(listed: Element, moment: str, place: str, name: str) -> tuple[list[ReadPoint], list[str]]:
    columns: dict[str, list[_Column]] = {}
    for quantity in listed.findall(f"{DCC}quantity"):
        kind = _kind(quantity.get("refType", ""))
        if kind:
            columns.setdefault(kind, []).extend(_columns(quantity, f"{place}, {kind}", name))
    references = columns.get("reference", [])
    others = [("reading", column) for column in columns.get("reading", [])]
    others += [("error", column) for column in columns.get("error", [])]
    if not references or not others:
        return [], [f"{place} has no list of reference values with readings or errors and was left out."]
    for reference in references:
        for kind, column in others:
            if column.fits(reference, kind):
                return _points(reference, column, kind, moment, place, name, others), []
    units = f"{references[0].unit} and {others[0][1].unit}"
    return [], [f"{place} gives reference and reading in different units ({units}) and was left out."]


class _Column:
    """The values of one list in one unit, with their expanded uncertainties where given."""

    def __init__(self, unit: str, values: list[float], spreads: list[float], factors: list[float]) -> None:
        self.unit, self.values, self.spreads, self.factors = unit, values, spreads, factors

    def fits(self, reference: _Column, kind: str) -> bool:
        if self.unit == reference.unit:
            return True
        return kind == "error" and {self.unit, reference.unit} == {"K", "°C"}  # a difference is the same in both


def _points(
    reference: _Column,
    column: _Column,
    kind: str,
    moment: str,
    place: str,
    name: str,
    others: list[tuple[str, _Column]],
) -> list[ReadPoint]:
    count = len(reference.values)
    if len(column.values) != count:
        raise TableRefused(f"“{name}”: {place} has {count} reference values and {len(column.values)} {kind}s.")
    with_spread = next((c for c in (column, *(other for _, other in others), reference) if c.spreads), None)
    if with_spread is None:
        raise TableRefused(f"“{name}”: {place} states no expanded uncertainty.")
    spreads, factors = _spread_out(with_spread.spreads, count, place, name), with_spread.factors or [2.0]
    factors = _spread_out(factors, count, place, name)
    if not all(spread > 0 for spread in spreads) or not all(factor > 0 for factor in factors):
        raise TableRefused(f"“{name}”: {place} has an uncertainty or coverage factor that is not above zero.")
    readings = (
        column.values if kind == "reading" else [r + e for r, e in zip(reference.values, column.values, strict=True)]
    )
    rows = zip(reference.values, readings, spreads, factors, strict=True)
    return [ReadPoint(moment, reference.unit, ref, read, spread, factor) for ref, read, spread, factor in rows]


def _spread_out(values: list[float], count: int, place: str, name: str) -> list[float]:
    if len(values) == 1:
        return values * count
    if len(values) != count:
        raise TableRefused(f"“{name}”: {place} has {count} values and {len(values)} uncertainties or coverage factors.")
    return values


def _kind(ref_type: str) -> str:
    marks = ref_type.lower()
    if "referencevalue" in marks:
        return "reference"
    if "measurementerror" in marks:
        return "error"
    return "reading" if "measuredvalue" in marks else ""


def _columns(quantity: Element, place: str, name: str) -> list[_Column]:
    lists = [*quantity.findall(f"{SI}realListXMLList"), *quantity.findall(f"{SI}hybrid/{SI}realListXMLList")]
    singles = [*quantity.findall(f"{SI}real"), *quantity.findall(f"{SI}hybrid/{SI}real")]
    found = [_column(entry, "XMLList", place, name) for entry in lists] + [
        _column(entry, "", place, name) for entry in singles
    ]
    lengths = {len(column.values) for column in found}
    if len(lengths) > 1:
        raise TableRefused(f"“{name}”: {place} gives the same values in lists of different length.")
    return found


def _column(entry: Element, suffix: str, place: str, name: str) -> _Column:
    values = _numbers(entry.find(f"{SI}value{suffix}"), place, name)
    units = _text(entry.find(f"{SI}unit{suffix}")).split()
    if not values or len(set(units)) != 1:
        raise TableRefused(f"“{name}”: {place} has no values, or not one unit for all of them.")
    if len(units) not in (1, len(values)):
        raise TableRefused(f"“{name}”: {place} has {len(values)} values and {len(units)} units.")
    spread = entry.find(f"{SI}expandedUnc{suffix}")
    if spread is None:
        return _Column(unit_symbol(units[0]), values, [], [])
    sizes = _numbers(spread.find(f"{SI}uncertainty{suffix}"), place, name)
    factors = _numbers(spread.find(f"{SI}coverageFactor{suffix}"), place, name)
    return _Column(unit_symbol(units[0]), values, sizes, factors)


def _numbers(element: Element | None, place: str, name: str) -> list[float]:
    words = _text(element).split()
    try:
        numbers = [float(word) for word in words]
    except ValueError as fault:
        raise TableRefused(f"“{name}”: {place} holds something that is no number.") from fault
    if any(number != number or abs(number) == float("inf") for number in numbers):
        raise TableRefused(f"“{name}”: {place} holds a number that is not finite.")
    return numbers


def unit_symbol(written: str) -> str:
    """Return the symbol of a unit as the open schema writes it; one that is not known stays as it is written.

    Examples
    --------
    >>> unit_symbol(r"\\kilo\\volt"), unit_symbol(r"\\kilogram\\metre\\tothe{2}\\second\\tothe{-3}\\ampere\\tothe{-1}")
    ('kV', 'V')
    """
    if written in _UNITS:
        return _UNITS[written]
    if _PART.sub("", written):
        return written[:60]
    powers = {base: int(power or 1) for base, power in _PART.findall(written)}
    known = {"Ω": _OHM, "V": _VOLT}
    return next((symbol for symbol, made in known.items() if made == powers), written[:60])

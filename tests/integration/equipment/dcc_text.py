# ruff: noqa: E501 one element of the certificate a line
"""A minimal digital calibration certificate, written for these tests after the names in the open schema (invented)."""

from __future__ import annotations

SERIAL = "S-1"
_TEMPLATE = """<?xml version="1.0" encoding="utf-8"?>
{prolog}<dcc:digitalCalibrationCertificate xmlns:dcc="https://ptb.de/dcc" xmlns:si="https://ptb.de/si" schemaVersion="3.1.1">
 <dcc:administrativeData>
  <dcc:dccSoftware><dcc:software><dcc:name><dcc:content>none</dcc:content></dcc:name><dcc:release>1</dcc:release></dcc:software></dcc:dccSoftware>
  <dcc:coreData>
   <dcc:countryCodeISO3166_1>NO</dcc:countryCodeISO3166_1><dcc:usedLangCodeISO639_1>en</dcc:usedLangCodeISO639_1>
   <dcc:mandatoryLangCodeISO639_1>en</dcc:mandatoryLangCodeISO639_1><dcc:uniqueIdentifier>{number}</dcc:uniqueIdentifier>
   <dcc:beginPerformanceDate>2026-10-30</dcc:beginPerformanceDate><dcc:endPerformanceDate>2026-11-01</dcc:endPerformanceDate>
   <dcc:performanceLocation>laboratory</dcc:performanceLocation>
  </dcc:coreData>
  <dcc:items><dcc:item><dcc:identifications><dcc:identification><dcc:issuer>manufacturer</dcc:issuer><dcc:value>{serial}</dcc:value></dcc:identification></dcc:identifications></dcc:item></dcc:items>
  <dcc:calibrationLaboratory><dcc:calibrationLaboratoryCode>K-001 (invented)</dcc:calibrationLaboratoryCode><dcc:contact><dcc:name><dcc:content lang="en">Tarn Metrology (invented)</dcc:content></dcc:name></dcc:contact></dcc:calibrationLaboratory>
  <dcc:respPersons><dcc:respPerson><dcc:person><dcc:name><dcc:content>Ines Alder (invented)</dcc:content></dcc:name></dcc:person></dcc:respPerson></dcc:respPersons>
  <dcc:customer><dcc:name><dcc:content>Quayside Insulation Works (invented)</dcc:content></dcc:name></dcc:customer>
 </dcc:administrativeData>
 <dcc:measurementResults><dcc:measurementResult><dcc:results>
  <dcc:result refType="{result}"><dcc:name><dcc:content>Points</dcc:content></dcc:name><dcc:data><dcc:list>
   <dcc:quantity refType="basic_referenceValue"><si:realListXMLList><si:valueXMLList>{references}</si:valueXMLList><si:unitXMLList>\\kilo\\volt</si:unitXMLList></si:realListXMLList></dcc:quantity>
   <dcc:quantity refType="basic_measuredValue"><si:realListXMLList><si:valueXMLList>{readings}</si:valueXMLList><si:unitXMLList>{unit}</si:unitXMLList>
    <si:expandedUncXMLList><si:uncertaintyXMLList>{spread}</si:uncertaintyXMLList><si:coverageFactorXMLList>2</si:coverageFactorXMLList><si:coverageProbabilityXMLList>0.95</si:coverageProbabilityXMLList></si:expandedUncXMLList>
   </si:realListXMLList></dcc:quantity>
  </dcc:list></dcc:data></dcc:result>
 </dcc:results></dcc:measurementResult></dcc:measurementResults>
</dcc:digitalCalibrationCertificate>
"""
_USUAL = {
    "prolog": "",
    "number": "K-77",
    "serial": SERIAL,
    "result": "plain",
    "references": "10 50 100",
    "readings": "10.05 50.2 100.6",
    "unit": r"\kilo\volt",
    "spread": "0.1 0.2 0.4",
}


def certificate(**changed: str) -> bytes:
    """Return the certificate with some of its texts changed."""
    return _TEMPLATE.format(**{**_USUAL, **changed}).encode()

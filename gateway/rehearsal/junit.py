"""Runs -> JUnit XML, as continuous integration reads it.

There is no standard; elements and attributes are those that the Jenkins xUnit plugin's schema names (from
memory) and that the reference library junitparser reads.
"""

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import PurePath
from typing import Final
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from gateway.rehearsal.running import Run
from gateway.rehearsal.showing import differences, summary

# XML 1.0 section 2.2, production 2
_NO_XML: Final = re.compile("[^\\t\\n\\r\\x20-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]")


def junit_xml(runs: Sequence[Run], at: datetime) -> bytes:
    """The document, UTF-8, for runs that began at that time: a test case a script."""
    seconds = f"{sum(run.seconds for run in runs):.3f}"
    failed = str(sum(not run.good for run in runs))
    counts = {"tests": str(len(runs)), "failures": failed, "errors": "0", "time": seconds}
    root = Element("testsuites", counts)
    when = at.isoformat(timespec="seconds").removesuffix("+00:00")
    suite = SubElement(root, "testsuite", {"name": "rehearsals", **counts, "skipped": "0", "timestamp": when})
    for run in runs:
        path = PurePath(run.script.name)
        case = SubElement(
            suite,
            "testcase",
            {"classname": "rehearsals", "name": _xml(str(path)), "time": f"{run.seconds:.3f}"},
        )
        if not run.good:
            failure = SubElement(case, "failure", {"type": "difference", "message": _xml(summary(run))})
            failure.text = _xml("\n".join([*differences(run), *([run.broken] if run.broken else [])]))
    indent(root)
    document: bytes = tostring(root, encoding="utf-8", xml_declaration=True)
    return document + b"\n"


def _xml(text: str) -> str:
    """With escapes for what XML cannot hold; a file's name may have any of it."""
    return _NO_XML.sub(lambda match: ascii(match[0])[1:-1], text)

"""The LibreOffice recipes of SPREADSHEETS.md, run by LibreOffice itself where it is installed.

A macro does what the page tells a keeper to do by hand, in a profile made for the test: it enters the formula,
links the week's CSV as an external range, and opens a downloaded CSV with the settings of the import dialog.
"""

import os
import re
import shutil
import signal
import subprocess
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.sax.saxutils import escape

import pytest

pytestmark = pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed here")

PAGE = (Path(__file__).parents[2] / "openapi" / "clients" / "SPREADSHEETS.md").read_text(encoding="utf-8")
POSTED = {24.5, 24.25, 25.125, -120.5, -80.25}

# Comma, quotes doubled, UTF-8, from line 1 on, the language, quoted fields not forced to text, special numbers off.
AS_THE_PAGE_SAYS = "44,34,76,1,,1033,false,false"
IN_THE_SHEETS_OWN_LANGUAGE = "44,34,76,1,,0,false,false"

# Links are followed without asking, and the folder counts as a trusted location.
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{language}</value></prop></item>
<item oor:path="/org.openoffice.Office.Calc/Content/Update"><prop oor:name="Link" oor:op="fuse"><value>0</value></prop></item>
<item oor:path="/org.openoffice.Office.Common/Security/Scripting"><prop oor:name="SecureURL" oor:op="fuse"><value><it>{folder}</it></value></prop></item>
</oor:items>
"""  # noqa: E501

LIBRARIES = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE library:libraries PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "libraries.dtd">
<library:libraries xmlns:library="http://openoffice.org/2000/library" xmlns:xlink="http://www.w3.org/1999/xlink">
 <library:library library:name="Standard" library:link="false"/>
</library:libraries>
"""

LIBRARY = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE library:library PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "library.dtd">
<library:library xmlns:library="http://openoffice.org/2000/library" library:name="Standard"
 library:readonly="false" library:passwordprotected="false">
 <library:element library:name="Keeper"/>
</library:library>
"""

MODULE = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE script:module PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "module.dtd">
<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Keeper" script:language="StarBasic">
{code}</script:module>"""

MACRO = """
Function Setting(word, content)
 Dim one As New com.sun.star.beans.PropertyValue
 one.Name = word
 one.Value = content
 Setting = one
End Function

Sub Keep(sheets, file)
 sheets.storeToURL("{folder}/" & file, Array(Setting("FilterName", "OpenDocument Spreadsheet Flat XML")))
 sheets.close(True)
End Sub

Function Opened(address, filterOptions)
 Dim how
 If filterOptions = "" Then
  how = Array(Setting("Hidden", True), Setting("UpdateDocMode", 3))
 Else
  how = Array(Setting("Hidden", True), Setting("FilterName", "Text - txt - csv (StarCalc)"), _
   Setting("FilterOptions", filterOptions))
 End If
 Opened = StarDesktop.loadComponentFromURL(address, "_blank", 0, how)
End Function

Sub Main
 sheets = Opened("private:factory/scalc", "")
 sheets.Sheets(0).Name = "Settings"
 sheets.Sheets(0).getCellRangeByName("B1").String = "{service}"
 sheets.Sheets(0).getCellRangeByName("B2").String = "{key}"
 sheets.Sheets(0).getCellRangeByName("A4").FormulaLocal = "{formula}"
 Dim corner As New com.sun.star.table.CellAddress
 corner.Row = 9
 sheets.AreaLinks.insertAtPosition(corner, "{week}", "CSV_all", "Text - txt - csv (StarCalc)", "{options}")
 sheets.calculateAll()
 Keep(sheets, "linked.fods")
 Keep(Opened("{week}", "{options}"), "opened.fods")
 Keep(Opened("{folder}/week.csv", "{options}"), "downloaded.fods")
 Keep(Opened("{folder}/week.csv", "{careless}"), "careless.fods")
 Keep(Opened("{folder}/journal.csv", "{options}"), "journal.fods")
End Sub
"""

TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"


@pytest.fixture(scope="module")
def service(serve):
    """A room with numbers of every sign in its last full week, and a note that looks like a formula."""
    service = serve().start()
    redox = {"name": "Redox", "parameter": "redox", "place": "tanks/nursery", "expected_interval": "1 h"}
    service.make("/v1/gauges", redox)
    monday = (datetime.now(UTC) - timedelta(days=datetime.now(UTC).weekday() + 7)).date()
    rows = [
        {
            "gauge": "redox" if value < 0 else "nursery-temperature",
            "value": value,
            "at": f"{monday + timedelta(days=2)}T12:{minute:02}:00Z",
        }
        for minute, value in enumerate(sorted(POSTED))
    ]
    service.make("/v1/readings", {"readings": rows})
    service.make("/v1/journal", {"place": "tanks/nursery", "words": "=1+1 µS"})
    return service


@pytest.fixture(scope="module")
def link(service):
    wanted = {"name": "Week sheet", "role": "viewer", "for_links": True}
    return service.make("/v1/keys", wanted)["key"]


def macro(service, link, folder):
    (formula,) = re.findall(r"^ +(=NUMBERVALUE\(WEBSERVICE\(.*)$", PAGE, re.M)
    week = f"http://127.0.0.1:{service.port}/v1/summaries/weekly?format=csv&key={link}"
    return MACRO.format(
        folder=folder.as_uri(),
        service=f"http://127.0.0.1:{service.port}/v1",
        key=link,
        formula=formula.replace('"', '""'),
        week=week,
        options=AS_THE_PAGE_SAYS,
        careless=IN_THE_SHEETS_OWN_LANGUAGE,
    )


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def sheets(request, service, link, tmp_path_factory):
    """The folder with what LibreOffice made of the recipes, with a decimal point and with a decimal comma."""
    folder = tmp_path_factory.mktemp(f"office-{request.param}")
    basic = folder / "profile" / "user" / "basic"
    basic.parent.mkdir(parents=True)
    settings = SETTINGS.format(language=request.param, folder=folder.as_uri())
    (basic.parent / "registrymodifications.xcu").write_text(settings)
    # The first start furnishes the profile, and would write over a macro that stands there.
    run_office(folder, "--terminate_after_init")
    (basic / "Standard").mkdir(parents=True, exist_ok=True)
    (basic / "script.xlc").write_text(LIBRARIES)
    (basic / "Standard" / "script.xlb").write_text(LIBRARY)
    module = MODULE.format(code=escape(macro(service, link, folder)))
    (basic / "Standard" / "Keeper.xba").write_text(module)
    for name in ("summaries/weekly", "journal"):
        table = service.ask(f"/v1/{name}?format=csv&key={link}").text
        (folder / f"{name.rpartition('/')[2].replace('weekly', 'week')}.csv").write_bytes(table.encode())
    said = run_office(folder, "macro:///Standard.Keeper.Main")
    assert (folder / "journal.fods").exists(), said
    return request.param, folder


def run_office(folder, *more):
    """Run LibreOffice on the profile of the test until it ends; what it said."""
    profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
    office = subprocess.Popen(
        ["soffice", profile, "--headless", "--norestore", *more],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    try:
        return office.communicate(timeout=40)[0]
    except subprocess.TimeoutExpired:
        os.killpg(office.pid, signal.SIGKILL)
        pytest.fail(f"LibreOffice did not end: {office.communicate()[0]}")


def cells(sheets, name):
    """Every filled cell of a sheet: its number, else its text."""
    for cell in ElementTree.parse(sheets[1] / name).iter(f"{TABLE}table-cell"):
        kind = cell.get(f"{OFFICE}value-type")
        shown = "\n".join("".join(part.itertext()) for part in cell.iter(f"{TEXT}p"))
        if kind is not None:
            repeated = int(cell.get(f"{TABLE}number-columns-repeated", "1"))
            yield from [(float(cell.get(f"{OFFICE}value")) if kind == "float" else shown, shown)] * repeated


def values(sheets, name):
    return [value for value, _ in cells(sheets, name)]


def test_the_formula_fetches_one_number_in_either_locale(sheets, service):
    path = "/v1/systems/rill/answers/turnover?result=turnovers_per_hour&unit=1/h&format=text"
    answered = float(service.ask(path, service.keeper_key).text)
    assert answered != int(answered)
    assert answered in values(sheets, "linked.fods")


@pytest.mark.parametrize("name", ["linked.fods", "opened.fods", "downloaded.fods"])
def test_the_numbers_of_the_week_are_numbers_in_the_sheet_in_either_locale(sheets, name):
    found = values(sheets, name)
    assert {24.25, 25.125, -120.5, -80.25} <= set(found)
    assert "minutes_outside" in found and "nursery-temperature" in found
    # The sheet writes them by its own locale, so the other locale was really on.
    mark = {"en-US": ".", "de-DE": ","}[sheets[0]]
    assert f"24{mark}25" in {shown for _, shown in cells(sheets, name)}


def test_without_the_language_that_the_page_asks_for_a_decimal_comma_sheet_takes_no_numbers(sheets):
    language, _ = sheets
    numbers = [value for value in values(sheets, "careless.fods") if isinstance(value, float)]
    assert (24.25 in numbers) is (language == "en-US")


def test_a_note_that_looks_like_a_formula_stays_text(sheets):
    assert "'=1+1 µS" in values(sheets, "journal.fods")
    assert "formula=" not in (sheets[1] / "journal.fods").read_text(encoding="utf-8")

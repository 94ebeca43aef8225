"""Field sheet: all data of a build on one printable page, and every curve as a file.

The page is self-contained: one HTML file without scripts, and without external images, fonts or styles. User text is
escaped. The arguments are plain texts, dictionaries and data frames, so the module depends on no other part of the
program.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from explorer.figures.svg_plot import Line, PlotMark, plain_text, svg_plot
from propmodel.parts.csv_table import escape_cell

__all__ = ["Figure", "Sheet", "curves_csv", "curves_json", "field_sheet", "safe_link"]

MAX_LINK = 8000


@dataclass(frozen=True)
class Figure:
    """A line plot of the sheet."""

    title: str
    x_title: str
    y_title: str
    lines: Sequence[Line]
    marks: Sequence[PlotMark] = ()


@dataclass(frozen=True)
class Sheet:
    """Contents of the page. Any text may contain user text."""

    title: str
    sentence: str = ""
    """The first sentence, as plain text."""
    made: str = ""
    """Date, place, air: one line."""
    build: Sequence[tuple[str, str]] = ()
    """(part or field, description)."""
    numbers: Sequence[Mapping[str, str]] = ()
    """Keys ``name``, ``value`` and ``band``."""
    pinned: Sequence[tuple[str, Sequence[str]]] = ()
    """(name of a pinned build, its values in the order of ``numbers``)."""
    limits: Sequence[Mapping[str, str]] = ()
    """Keys ``symbol``, ``name``, ``word``, ``detail``."""
    alarms: Sequence[tuple[str, str]] = ()
    """(setting, value to type)."""
    steps: Sequence[Mapping[str, str]] = ()
    """Rows of `propmodel.power_up.rows`."""
    cautions: Sequence[str] = ()
    figures: Sequence[Figure] = ()
    notes: Sequence[str] = ()
    """Assumptions, possible faults and other notes."""
    link: str = ""
    spare_lines: int = field(default=4)
    """Number of ruled lines at the end for handwriting."""


STYLE = """
@page{size:A4;margin:14mm}
*{box-sizing:border-box}
body{font:10.5pt/1.42 Georgia,"Times New Roman",serif;color:#1E2A2E;background:#fff;margin:0 auto;
max-width:190mm;
padding:6mm}
h1{font-size:20pt;margin:0 0 1mm}
h2{font:bold 11pt/1.3 system-ui,sans-serif;margin:6mm 0 1.5mm;border-bottom:1.2pt solid #5A3E8E;
break-after:avoid}
p{margin:0 0 2mm}.lead{font-size:12.5pt}.small{font-size:8.5pt;color:#4A575B;overflow-wrap:anywhere}
table{border-collapse:collapse;width:100%;font:9pt/1.35 system-ui,sans-serif;
font-variant-numeric:tabular-nums}
th,td{text-align:left;vertical-align:top;padding:1mm 2mm 1mm 0;border-bottom:.5pt solid #C4C7BF;
overflow-wrap:break-word}
thead{display:table-header-group}tr{break-inside:avoid}th{font-weight:600}
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 8mm}
.care{border:1.6pt solid #86220F;padding:2mm 4mm;break-inside:avoid}.care ul{margin:1mm 0;
padding-left:5mm}
figure{margin:2mm 0 4mm;break-inside:avoid;max-width:150mm}
svg{width:100%;height:auto;font:12px system-ui,sans-serif;fill:#1E2A2E}
svg .head{font-weight:600}svg .grid{stroke:#C4C7BF;stroke-width:.6;fill:none}
svg .axis{stroke:#4A575B;fill:none}
svg .this{stroke:#5A3E8E;stroke-width:2.6;fill:none}svg .pinned{stroke:#4A575B;stroke-width:1.6;
stroke-dasharray:5 4;fill:none}
svg .band{fill:#5A3E8E;fill-opacity:.16}svg .limit{stroke:#86220F;stroke-width:1.4;fill:none}
svg .hatch{stroke:#86220F;stroke-width:1;stroke-opacity:.55}svg .point{fill:#fff;stroke:#5A3E8E;
stroke-width:2}
.steps{table-layout:fixed}.steps th:nth-child(1){width:25%}.steps th:nth-child(2){width:35%}
.steps th:nth-child(3){width:13%}.steps th:nth-child(5){width:9%}
.steps td:nth-child(3){overflow-wrap:normal;font-weight:600}
td:first-child{min-width:6mm}.lines div{border-bottom:.5pt solid #7D8783;height:8mm}
@media print{body{padding:0;max-width:none}*{-webkit-print-color-adjust:exact;
print-color-adjust:exact}}
.details{break-before:page}
.first .two{grid-template-columns:9fr 11fr;gap:0 6mm}
.first .care ul{columns:2;column-gap:8mm;font-size:8.5pt;line-height:1.3}
.first table{font-size:8pt;line-height:1.25}
.first td{padding:.6mm 1.5mm .6mm 0}.first h2{margin:3mm 0 1mm}
.first .lead{font-size:10.5pt;line-height:1.3}
.first li{break-inside:avoid}
@media (max-width:560px){.two{grid-template-columns:1fr}}
"""


CAVEAT = (
    '<p class="small">A forecast from labels, not a measurement. '
    "The rules of your field and your country come first. Details: next page.</p>"
)

POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""Content security policy: the page cannot load or run anything, whatever its text."""


def safe_link(link: str) -> str:
    """Return an address for ``href``; "" unless it is plain http or https.

    Examples
    --------
    >>> safe_link("javascript:alert(1)"), safe_link("http://localhost:8501/?kv=1950&cells=6")
    ('', 'http://localhost:8501/?kv=1950&amp;cells=6')
    """
    text = str(link).strip()
    if len(text) > MAX_LINK or not re.fullmatch(r"https?://[^\s\"'<>\\^`{|}\x00-\x20\x7f]+", text):
        return ""
    return plain_text(text, MAX_LINK)


def _table(heads: Sequence[str], body: Sequence[Sequence[str]]) -> str:
    """Return a table; rows without text are omitted, and a heading line without text too."""
    body = [row for row in body if any(str(c).strip() for c in row)]
    if not body:
        return ""
    head = "".join(f"<th>{plain_text(h)}</th>" for h in heads)
    lines = "".join("<tr>" + "".join(f"<td>{plain_text(c)}</td>" for c in row) + "</tr>" for row in body)
    head = f"<thead><tr>{head}</tr></thead>" if any(heads) else ""
    return f"<table>{head}<tbody>{lines}</tbody></table>"


def _steps_table(steps: Sequence[Mapping[str, str]]) -> str:
    """Return the steps of the first power-up with an empty column for readings."""
    if not steps:
        return ""
    lines = []
    for step in steps:
        words = {k: plain_text(step.get(k, "")) for k in ("number", "title", "tool", "do", "expect", "stop_if")}
        lines.append(
            f'<tr><td><strong>{words["number"]}. {words["title"]}</strong><br><span class="small">{words["tool"]}'
            f"</span></td><td>{words['do']}</td><td>{words['expect']}</td><td>{words['stop_if']}</td><td></td></tr>"
        )
    heads = "".join(f"<th>{h}</th>" for h in ("Step", "Do", "Expect", "Stop if", "I read"))
    return f'<table class="steps"><thead><tr>{heads}</tr></thead><tbody>{"".join(lines)}</tbody></table>'


def _part(title: str, inside: str) -> str:
    return f"<section><h2>{plain_text(title)}</h2>{inside}</section>" if inside else ""


def _figure(figure: Figure, ident: str) -> str:
    picture = svg_plot(
        figure.lines,
        x_title=figure.x_title,
        y_title=figure.y_title,
        title=figure.title,
        marks=figure.marks,
        ident=ident,
    )
    return f'<figure><figcaption class="small">{plain_text(figure.title)}</figcaption>{picture}</figure>'


def field_sheet(sheet: Sheet) -> str:
    """Return the field sheet.

    Parameters
    ----------
    sheet : Sheet
        Contents.

    Returns
    -------
    str
        A complete HTML document, which a browser can print or save as PDF.

    Examples
    --------
    >>> page = field_sheet(Sheet(title="Scree <script>"))
    >>> "<script" in page, page.startswith("<!doctype html>")
    (False, True)
    """
    numbers = _table(
        ["", "about", "8 in 10 such craft", *(f"pinned: {name}" for name, _ in sheet.pinned)],
        [
            [*(row.get(k, "") for k in ("name", "value", "band")), *(values[i] for _, values in sheet.pinned)]
            for i, row in enumerate(sheet.numbers)
        ],
    )
    figures = "".join(_figure(f, f"f{i}") for i, f in enumerate(sheet.figures))
    limits = _table(
        ["", "", ""],
        [
            [f"{row.get('symbol', '')} {row.get('name', '')}", row.get("word", ""), row.get("detail", "")]
            for row in sheet.limits
        ],
    )
    cautions = "".join(f"<li>{plain_text(c)}</li>" for c in sheet.cautions if c.strip())
    href = safe_link(sheet.link)
    link = f'<a href="{href}" rel="noreferrer">{href}</a>' if href else plain_text(sheet.link, MAX_LINK)
    spare = "<div></div>" * max(0, min(int(sheet.spare_lines), 40))
    parts = [
        '<div class="first">',
        f"<h1>{plain_text(sheet.title)}</h1>",
        f'<p class="small">{plain_text(sheet.made)}</p>' if sheet.made else "",
        f'<p class="lead">{plain_text(sheet.sentence)}</p>' if sheet.sentence else "",
        f'<div class="care"><strong>Before anything else</strong><ul>{cautions}</ul></div>' if cautions else "",
        '<div class="two">',
        _part("The build", _table(["", ""], [list(row) for row in sheet.build])),
        "<div>",
        _part("Alarms to set", _table(["", ""], [list(row) for row in sheet.alarms])),
        _part("Limits", limits),
        "</div></div>",
        CAVEAT,
        '</div><div class="details">',
        _part("What to expect", numbers),
        _part("Curves", figures),
        _part("First power-up", _steps_table(sheet.steps)),
        _part("Notes", "".join(f"<p>{plain_text(n)}</p>" for n in sheet.notes)),
        _part("By hand", f'<div class="lines">{spare}</div>' if spare else ""),
        _part("Open this build again", f'<p class="small">{link}</p>' if link else ""),
        "</div>",
    ]
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{plain_text(sheet.title)}</title><style>{STYLE}</style></head>\n<body>\n"
        + "\n".join(p for p in parts if p)
        + "\n</body></html>\n"
    )


# --- curves as files ---


def curves_csv(frame: pd.DataFrame) -> str:
    """Return curves as CSV, with units in the headings, and blank for a missing value.

    Parameters
    ----------
    frame : DataFrame
        One curve per column, with its unit in the heading: ``pull [g]``.

    Returns
    -------
    str
        Comma-separated with a decimal point (RFC 4180); texts are escaped against spreadsheet formulas.

    Examples
    --------
    >>> frame = pd.DataFrame({"throttle [%]": [0.0, 50.0], "pull [g]": [float("nan"), 310.25]})
    >>> curves_csv(frame).splitlines()
    ['throttle [%],pull [g]', '0,', '50,310.25']
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([escape_cell(str(c)) for c in frame.columns])
    for row in frame.itertuples(index=False, name=None):
        writer.writerow([_cell(value) for value in row])
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        number = float(value)
        if not math.isfinite(number):
            return ""
        return int(number) if number.is_integer() and abs(number) < 1e15 else f"{number:.7g}"
    return "" if value is None or value is pd.NA or value is pd.NaT else escape_cell(str(value))


def curves_json(frame: pd.DataFrame, *, about: Mapping[str, str] | None = None) -> str:
    """Return curves as JSON: a list of columns with name, unit and values; null for a missing value.

    Parameters
    ----------
    frame : DataFrame
        As for `curves_csv`.
    about : mapping, optional
        Plain texts to include (build, date, link).

    Returns
    -------
    str
        Strict JSON (no NaN), ASCII.

    Examples
    --------
    >>> text = curves_json(pd.DataFrame({"pull [g]": [float("nan"), 310.0]}))
    >>> json.loads(text)["columns"]
    [{'name': 'pull', 'unit': 'g', 'values': [None, 310.0]}]
    """
    columns = []
    for i, heading in enumerate(frame.columns):
        found = re.fullmatch(r"(.*?)\s*\[(.*)\]", str(heading))
        name, unit = found.groups() if found else (str(heading), "")
        columns.append({"name": name, "unit": unit, "values": [_value(v) for v in frame.iloc[:, i]]})
    document: dict[str, Any] = {"format": "propulsion-what-if curves", "format_version": 1}
    document["about"] = {str(k): str(v) for k, v in (about or {}).items()}
    document["columns"] = columns
    return json.dumps(document, allow_nan=False, ensure_ascii=True)


def _value(value: object) -> object:
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if math.isfinite(value) else None
    return None if value is None or value is pd.NA or value is pd.NaT else str(value)

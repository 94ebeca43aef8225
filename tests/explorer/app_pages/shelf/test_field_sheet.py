"""The printed page: whole, alone, and safe against whatever a user typed. Curves as files.

Outside sources: the XML parser of the standard library reads every picture; RFC 4180 (CSV) and RFC 8259
(JSON, which has no NaN) for the files; OWASP for what runs in a spreadsheet.
"""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explorer.app_pages.shelf.field_sheet import Figure, Sheet, curves_csv, curves_json, field_sheet, safe_link
from explorer.figures.svg_plot import Line, PlotMark, nice_ticks, plain_text, svg_plot
from propmodel.assembly.demo import demo
from propmodel.power_up.judging import rows
from propmodel.power_up.steps import CAUTIONS, from_build, power_up_steps

EVIL = "\"><script>alert(1)</script><img src=x onerror=alert(2)>' </style> javascript:alert(3) \u202e&amp;"
NS = "{http://www.w3.org/2000/svg}"


def figure(name: str = "this") -> Figure:
    x = np.linspace(0, 100, 41)
    y = 12.0 * (x / 10) ** 1.8
    return Figure(
        "Pull against throttle",
        "throttle, %",
        "thrust of all rotors, g",
        [Line(name, x, y, low=0.85 * y, high=1.15 * y), Line("pinned", x, 0.8 * y, pinned=True)],
        [PlotMark("hover", 300.0, x=60.0), PlotMark("label", 700.0)],
    )


def sheet(text: str = "", link: str = "http://127.0.0.1:8501/?kv=1950&cells=6") -> Sheet:
    return Sheet(
        title=f"Scree {text}",
        sentence=f"Scree takes off at 690 g. {text}",
        made=text or "Thornbarrow, 420 m",
        build=[("Motor", f"2207 1950KV {text}"), (text, "invented")],
        numbers=[{"name": "hover", "value": "27 %", "band": "23 to 32 %"}],
        pinned=[(text or "Bare", [text or "25 %"])],
        limits=[{"symbol": "✕", "name": "pack", "word": "over", "detail": text or "18 A too much"}],
        alarms=[("mAh alarm", "1 040 mAh"), (text, text)],
        steps=rows(power_up_steps(from_build(demo("scree")))),
        cautions=[*CAUTIONS, text],
        figures=[figure(text or "this"), figure()],
        notes=[text],
        link=link,
    )


class Page(HTMLParser):
    """Collects tags, attributes and text; checks that what is opened is closed."""

    VOID = frozenset({"meta", "br", "hr"})

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.stack: list[str] = []
        self.text = ""
        self.feed(page)
        self.close()
        assert self.stack == []

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, k, v or "") for k, v in attrs]
        if tag not in self.VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag, attrs) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, k, v or "") for k, v in attrs]

    def handle_endtag(self, tag) -> None:
        assert self.stack.pop() == tag

    def handle_data(self, data) -> None:
        self.text += data


SAFE_TAGS = {
    "html", "head", "meta", "title", "style", "body", "h1", "h2", "p", "a", "div", "section", "strong",
    "ul", "li",
    "table", "thead", "tbody", "tr", "th", "td", "figure", "figcaption", "br", "span",
    "svg", "defs", "pattern", "path", "text", "circle", "rect",
}  # fmt: skip


def test_the_page_holds_everything_and_nothing_from_outside() -> None:
    page = field_sheet(sheet())
    read = Page(page)
    for word in ("Scree", "2207 1950KV", "23 to 32 %", "18 A too much", "1 040 mAh", "hover", "Standby "
    "current",
                 "Pull against throttle", "Never arm the flight controller", "I read"):  # fmt: skip
        assert word in read.text, word
    for row in rows(power_up_steps(from_build(demo("scree")))):
        assert row["do"] in read.text and row["expect"] in read.text
    assert set(read.tags) <= SAFE_TAGS
    # nothing is fetched: no source, no style sheet, no import, no font; the one address is the link to click
    assert not re.search(r"@import|@font-face|url\((?!#)|<link|<base|<iframe", page)
    outside = [v for t, k, v in read.attributes if k in ("src", "href", "data", "action", "srcset")]
    assert outside == ["http://127.0.0.1:8501/?kv=1950&cells=6"]
    assert "default-src 'none'" in page and "@media print" in page and "@page" in page
    assert len(page) < 200_000


@pytest.mark.parametrize("text", [EVIL, "\x00\x01\ud800x", "a" * 5000, "‮ ‭", "<!--", "]]>", "{{x}}", "&#x3c;b>"])
def test_what_a_user_types_stays_text(text: str) -> None:
    page = field_sheet(sheet(text))
    read = Page(page)
    assert set(read.tags) <= SAFE_TAGS
    assert not [a for a in read.attributes if a[1].startswith("on")]
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\u202a-\u202e\u2066-\u2069\ud800-\udfff]", page)
    page.encode("utf-8")
    for picture in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        ElementTree.fromstring(picture)
    if text == EVIL:
        assert "<script>alert(1)</script>" in read.text, "shown as text, not swallowed"


@pytest.mark.parametrize(
    "link",
    ["javascript:alert(1)", " JavaScript:alert(1)", "data:text/html,x", "file:///etc/passwd", "//evil.example",
     'http://a/"onclick="x', "http://a/<b>", "http://a b", "http://a/\njavascript:x", "x" * 9000, "",
     "ftp://a/b"],
)  # fmt: skip
def test_only_plain_web_addresses_become_links(link: str) -> None:
    assert safe_link(link) == ""
    read = Page(field_sheet(sheet(link=link)))
    assert not [a for a in read.attributes if a[1] == "href"]


def test_an_empty_sheet_is_a_page() -> None:
    read = Page(field_sheet(Sheet(title="", spare_lines=0)))
    assert "First power-up" not in read.text and "come first" in read.text


# --- pictures ---


def points(path: str) -> np.ndarray:
    return np.array([[float(v) for v in pair.split()] for pair in re.findall(r"[ML](\S+ [^ML Z]+)", path)])


def test_a_line_is_drawn_to_scale() -> None:
    """Two known points: the axes' own tick marks give the scale, read back from the picture."""
    x = np.array([0.0, 20.0, 100.0])
    picture = ElementTree.fromstring(
        svg_plot([Line("a", x, [0.0, 30.0, 80.0])], x_title="x", y_title="y", width=600, height=300)
    )
    texts = [(t.text, float(t.get("x")), float(t.get("y"))) for t in picture.iter(f"{NS}text")]
    at_x = {t: px for t, px, py in texts if py == 275.0}
    at_y = {t: py - 4 for t, px, py in texts if px == 52.0}
    (line,) = [p for p in picture.iter(f"{NS}path") if p.get("class") == "this"]
    drawn = points(line.get("d"))
    assert drawn.shape == (3, 2)
    scale_x = (at_x["100"] - at_x["0"]) / 100
    scale_y = (at_y["80"] - at_y["0"]) / 80
    np.testing.assert_allclose(drawn[:, 0], at_x["0"] + scale_x * x, atol=0.11)
    np.testing.assert_allclose(drawn[:, 1], at_y["0"] + scale_y * np.array([0, 30, 80]), atol=0.11)


def test_gaps_bands_pinned_lines_and_limits() -> None:
    y = np.array([1.0, 2.0, np.nan, 4.0, 5.0])
    x = np.arange(5.0)
    text = svg_plot(
        [Line("a", x, y, low=y - 0.5, high=y + 0.5), Line("b", x, y + 1, pinned=True)],
        x_title="x",
        y_title="y",
        marks=[PlotMark("limit", 4.5), PlotMark("here", 2.0, x=1.0), PlotMark("lost", float("nan"))],
    )
    classes = [p.get("class") for p in ElementTree.fromstring(text).iter(f"{NS}path")]
    assert classes.count("this") == 2 and classes.count("band") == 2 and classes.count("pinned") == 2
    assert classes.count("limit") == 1
    assert text.count("<circle") == 1 and "url(#ph)" in text and "nan" not in text
    words = [t.text for t in ElementTree.fromstring(text).iter(f"{NS}text")]
    assert {"a", "b", "limit", "here"} <= set(words) and "lost" not in words


def test_nothing_to_draw_is_said() -> None:
    for lines in ([], [Line("a", [np.nan], [1.0]), Line("b", [1.0], [np.nan])]):
        assert "nothing to draw" in svg_plot(lines, x_title="x", y_title="pull")
    one = svg_plot([Line("a", [3.0], [5.0])], x_title="x", y_title="y")
    assert "nan" not in one and "inf" not in one
    with pytest.raises(ValueError, match="2 x and 1 y"):
        svg_plot([Line("a", [1, 2], [1])], x_title="x", y_title="y")


@settings(max_examples=200)
@given(
    low=st.floats(-1e6, 1e6),
    span=st.floats(1e-6, 1e6),
    most=st.integers(2, 8),
)
def test_ticks_cover_the_range_in_steps_of_one_two_five(low: float, span: float, most: int) -> None:
    ticks = nice_ticks(low, low + span, most=most)
    assert ticks[0] <= low + 1e-6 * span and ticks[-1] >= low + span - 1e-6 * span - 1e-9
    assert 2 <= len(ticks) <= 2 * most + 2
    step = ticks[1] - ticks[0]
    lead = float(f"{step:.3e}".split("e")[0])
    assert min(abs(lead - d) for d in (1, 2, 5, 10)) < 0.02 or step < 1e-9 * abs(low)


@settings(max_examples=60)
@given(st.lists(st.tuples(st.floats(allow_infinity=True), st.floats(allow_infinity=True)), max_size=12))
def test_any_numbers_make_a_picture_that_parses(pairs: list[tuple[float, float]]) -> None:
    pairs = [
        (x, y) for x, y in pairs if not (abs(x) > 1e100 and np.isfinite(x)) and not (abs(y) > 1e100 and np.isfinite(y))
    ]
    x, y = [p[0] for p in pairs], [p[1] for p in pairs]
    ElementTree.fromstring(svg_plot([Line("a", x, y, low=y, high=y)], x_title="x", y_title="y"))


def test_long_curves_are_thinned() -> None:
    x = np.linspace(0, 1, 100_000)
    assert len(svg_plot([Line("a", x, x)], x_title="x", y_title="y")) < 60_000


def test_plain_text_escapes_once() -> None:
    assert plain_text("a & b < c") == "a &amp; b &lt; c"
    assert plain_text("9 times in 10 · 12 °C − 4") == "9 times in 10 · 12 °C − 4"


# --- curves as files ---

FRAME = pd.DataFrame(
    {
        "throttle [%]": [0, 50, 100],
        "pull [g]": [0.0, 310.123456789, np.nan],
        "status": ["as asked", "=1+1", None],
        "fine": [True, False, True],
        "=HYPERLINK(x) [g]": [-1.5, np.inf, 1e-9],
    }
)


def test_curves_as_csv() -> None:
    text = curves_csv(FRAME)
    read = list(csv.reader(io.StringIO(text)))
    assert read[0] == ["throttle [%]", "pull [g]", "status", "fine", "'=HYPERLINK(x) [g]"]
    assert read[1] == ["0", "0", "as asked", "yes", "-1.5"]
    assert read[2] == ["50", "310.1235", "'=1+1", "no", ""]
    assert read[3] == ["100", "", "", "yes", "1e-09"]
    assert text.count("\r\n") == 4
    back = pd.read_csv(io.StringIO(text))
    np.testing.assert_allclose(back["pull [g]"], FRAME["pull [g]"], rtol=1e-6)


def test_curves_as_json() -> None:
    def no_constant(text: str) -> float:
        raise AssertionError(f"{text} is not JSON (RFC 8259)")

    read = json.loads(curves_json(FRAME, about={"build": "Scree"}), parse_constant=no_constant)
    assert read["about"] == {"build": "Scree"} and read["format_version"] == 1
    assert read["columns"][0] == {"name": "throttle", "unit": "%", "values": [0, 50, 100]}
    assert read["columns"][1]["values"] == [0.0, 310.123456789, None]
    assert read["columns"][2]["values"] == ["as asked", "=1+1", None]
    assert read["columns"][4]["values"] == [-1.5, None, 1e-9]

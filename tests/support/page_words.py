"""Words that a page shows with every fold closed, counted in a run without a browser."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

from streamlit.testing.v1 import AppTest

__all__ = ["words_of"]

_TAG = re.compile(r"<[^>]+>")
_SILENT = ("style", "svg", "script")


class _Shown(HTMLParser):
    """Text of our markup without drawings and without what stands inside a closed disclosure."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._folds: list[bool] = []  # for each open disclosure: whether we are in its summary
        self._silent = 0

    def handle_starttag(self, tag, attrs):
        self._silent += tag in _SILENT
        if tag == "details":
            self._folds.append(False)
        elif tag == "summary":
            self._folds[-1] = True

    def handle_endtag(self, tag):
        self._silent -= tag in _SILENT
        if tag == "details":
            self._folds.pop()
        elif tag == "summary":
            self._folds[-1] = False

    def handle_data(self, data):
        if not self._silent and all(self._folds):
            self.texts.append(data)


def words_of(at: AppTest) -> list[str]:
    """Words of the main pane: our own text without what is folded, labels, choices, and the words of charts."""
    return " ".join(_texts(at.main)).split()


def _texts(node) -> list[str]:
    found: list[str] = []
    for child in getattr(node, "children", {}).values():
        if not hasattr(child, "children"):
            found += _of_element(child)
            continue
        # an expander or a popover has a label; what is inside shows only where it stands open
        fold = next(
            (f for f in (getattr(child.proto, k, None) for k in ("expandable", "popover")) if f and f.label), None
        )
        label = fold.label if fold else getattr(child.proto, "label", "")
        found.append(label)
        if not label or getattr(fold or child.proto, "expanded", False):
            found += _texts(child)
    return found


def _of_element(element) -> list[str]:
    proto = element.proto
    if element.type == "html":
        shown = _Shown()
        shown.feed(proto.body)
        return [" ".join(shown.texts)]
    if element.type == "plotly_chart":
        layout = json.loads(proto.spec)["layout"]
        notes = [str(note.get("text") or "") for note in layout.get("annotations", ())]
        axes = [axis for name, axis in layout.items() if name.startswith(("xaxis", "yaxis"))]
        titles = [str((axis.get("title") or {}).get("text") or "") for axis in axes]
        ticks = [str(t) for axis in axes for t in axis.get("ticktext") or ()]
        return [_TAG.sub(" ", " ".join([*notes, *titles, *ticks]))]
    found = [str(getattr(proto, "label", "") or ""), str(getattr(proto, "placeholder", "") or "")]
    if element.type in ("markdown", "caption"):
        found.append(str(proto.body))
    options = getattr(proto, "options", None)
    if element.type in ("button_group", "radio") and options is not None:
        found += [str(getattr(option, "content", option)) for option in options]
    return found

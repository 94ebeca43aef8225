"""Scanner of part labels: it divides a text into numbers with units, known words, and the rest.

It does not choose between meanings; :mod:`explorer.labels.reader` does. All patterns have bounded repeats, so the time
is proportional to the length of the text.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass, replace

__all__ = ["MAX_LENGTH", "Piece", "canonical", "pieces_of", "suggestions"]

MAX_LENGTH = 600
"""Length at which a text is truncated; the labels of a whole craft take about 150. [characters]"""


@dataclass(frozen=True)
class Piece:
    """One piece of a label.

    Parameters
    ----------
    kind : str
        "kv", "stator_kv", "dims", "code", "code_blades", "cells", "mah", "amps", ..., "word" or "junk".
    text : str
        Text as entered.
    numbers : tuple of (float or None)
        Captured numbers, in the order of the pattern.
    mark : str
        Captured unit or word, in lower case.
    segment : int
        Number of the segment; segments are separated by commas or line ends.
    """

    kind: str
    text: str
    numbers: tuple[float | None, ...] = ()
    mark: str = ""
    segment: int = 0

    def number(self, index: int) -> float:
        """Return a number that all patterns of this kind capture; for optional ones see `numbers`."""
        found = self.numbers[index]
        assert found is not None, f"{self.kind} of {self.text!r} has no number {index}"
        return found


_N = r"(\d{1,3}(?:\.\d{1,3})?)"
_THOUSANDS = r"(\d{1,2}'\d{3}|\d{2,5}(?:\.\d)?)"
_STOP = r"(?![A-Za-z0-9])"
"""After letters: a new piece may follow at once only behind a sign."""
_END = r"(?![A-Za-z0-9])(?!\.{1,3}\d)"
"""After digits."""
_NO_NUMBER = r"(?!\s?:?\s?\d)"
_FOR = rf"(?:[ (]{{0,2}}(?:for\s)?(?:10|15|20|30|60)\s?s(?:ec(?:onds?)?)?{_STOP})"
"""How long a burst lasts; no pack of this size has that many cells."""
_IN = r"(?:inch(?:es)?|in|\"|''|zoll|pouces?|pulgadas?)"
_TIMES = r"(?:[x*]|by(?=\s?\d))"
_DASH = r"(?:-|~|to)"
_SHAPE = r"(?P<nose>BN|SF|bull\s?nose|slow\s?-?\s?fl(?:yer|y|ight))"
"""What labels say of the blade's shape right behind its size."""
_TYPE_LETTERS = rf"(?:(?!in)[BDEFHKLNQRTWYZ]{{1,2}}|MR){_STOP}"
"""Letters of a type right behind a size; none of them is a unit."""
_LETTER = "[A-Za-z\u00c0-\u00d6\u00d9-\u00f6\u00f9-\u017f]"
_OTHER_LETTER = r"(?:(?![A-Za-z\u00d7\u00d8\u00f7])[^\W\d_])"
"""A letter of any other writing."""
_PACK = r"(?:pack|battery|batt?|lipo|akku|accu|batterie)"

_PATTERNS: list[tuple[str, re.Pattern[str]]] = [
    (kind, re.compile(pattern.replace(r"\s?", " {0,2}").replace(r"\s", " "), re.IGNORECASE))
    for kind, pattern in (
        ("price", r"(?:[$\u20ac\u00a3]|(?:USD|EUR|GBP)\s?)\s?\d{1,5}(?:\.\d{1,2})?"),
        ("price", rf"\d{{1,5}}(?:\.\d{{1,2}})?\s?(?:[$\u20ac\u00a3](?!\s?\d)|(?:USD|EUR|GBP|euros?|dollars?){_STOP})"),
        ("poles", rf"(\d{{1,2}})\s?N\s?(\d{{1,2}})\s?P{_STOP}"),
        ("pole_pairs", rf"(\d{{1,2}})\s?-?\s?pole\s?-?\s?pairs?{_STOP}"),
        ("magnets", rf"(\d{{1,2}})\s?-?\s?(?:poles?|magnets?){_STOP}"),
        ("four_in_one", rf"(?:4|four)\s?-?\s?in\s?-?\s?(?:1|one){_STOP}"),
        ("stator_kv", rf"(\d{{4}}(?:\.\d)?)\s?(?:KV\s?[:=]\s?|KV)(\d{{3,5}}){_END}"),
        ("stator_kv", rf"(\d{{4}}(?:\.\d)?)\sKV\s(\d{{3,5}}){_END}(?!\s?(?:mA|KV|mm|g{_STOP}))"),
        ("kilo_kv", rf"(\d{{1,2}}(?:\.\d{{1,3}})?)\s?k\s?KV{_STOP}"),
        ("kilo_kv", rf"(\d{{1,2}}\.\d{{1,3}})\s?KV{_STOP}"),
        ("kv", rf"KV\s?[:=]?\s?{_THOUSANDS}(?:\s?rpm\s?/\s?V)?{_END}"),
        ("kv", rf"{_THOUSANDS}\s?-?\s?(?:KV|rpm\s?/\s?V(?:olts?)?|(?:r|tr|u)/min/V|rpm per volt)(?![A-Za-z])"),
        ("dims", rf"(\d{{1,2}}(?:\.\d{{1,2}})?)\s?/\s?(\d(?:\.\d{{1,2}})?)\s?/\s?([2-6]){_END}"),
        ("stator_kv", rf"(\d{{4}}(?:\.\d)?)\s?[-/_]\s?(\d{{3,5}})\s?(?:KV)?{_END}"),
        ("stator_kv", rf"(\d{{4}})\.(\d{{3,5}})KV{_END}"),
        ("cell_format", rf"(18650|20700|21700|26650|26700|14500|18350){_STOP}"),
        (
            "code_blades",
            rf"(\d{{4}}(?:\.\d)?|\d{{5}})(?:\s?[x*/-]\s?|R)([2-8])(?:\s?-?\s?blades?|\s?{_SHAPE}|B)?{_END}",
        ),
        (
            "dims",
            rf"(\d{{1,3}}(?:\.\d{{1,2}})?)\s?(?P<unit>{_IN}|mm)?\s?{_TIMES}\s?(\d{{1,3}}(?:\.\d{{1,2}})?)\s?(?P<mid>{_IN}|mm)?"
            rf"(?:\s?(?:/|{_TIMES})\s?(\d))?(?:{_TYPE_LETTERS}|\s?(?P<last>{_IN}|mm)?\s?{_SHAPE}?{_END})",
        ),
        ("across", rf"(?:D|\u00d8)\s?(\d{{2,3}})(?:\s?mm)?(?:\s?[x*-]\s?([2-8]))?{_END}"),
        ("diameter", rf"\u00d8\s?(\d{{1,2}}(?:\.\d{{1,2}})?)\s?{_IN}?{_END}(?!\s?mm)"),
        ("craft", rf"(?P<mark>x8|y6){_STOP}"),
        ("grams", rf"[2-8]\s?[x*]\s?(\d{{1,3}}(?:\.\d{{1,2}})?)\s?g{_STOP}"),
        ("quantity", r"(\d{1,2})\s?(?:[x*]|pcs|pieces)(?=\s|\d{3,5}|\d{1,3}\s?A|\d{1,2}\s?S(?![A-Za-z]))"),
        ("quantity", rf"(\d{{1,2}})\s?(?:pcs?|pieces){_STOP}"),
        ("quantity", rf"[x*]\s?(\d{{1,2}}){_END}"),
        ("cell_range", rf"(\d{{1,2}})\s?S?\s?{_DASH}\s?(\d{{1,2}})\s?(?:S|cells?){_STOP}"),
        ("cell_max", rf"(?:up\s?to|max\.?|<=?)\s?(\d{{1,2}})\s?(?:S|cells?){_STOP}"),
        ("cells", r"(\d{1,2})\s?S\s?[x/]?\s?(\d{1,2})\s?P(?![A-Za-z])"),
        ("cells", r"(\d{1,2})\s?S(?![A-Za-z])"),
        ("cells", rf"(\d{{1,2}})\s?-?\s?cells?{_STOP}"),
        ("parallel", rf"(\d{{1,2}})\s?P{_STOP}"),
        ("volt_range", rf"{_N}\s?V?\s?{_DASH}\s?{_N}\s?V(?:DC)?{_STOP}"),
        ("capacitor", rf"(\d{{1,5}})\s?[u\u03bc]F(?:\s?[/@]?\s?(\d{{1,3}})\s?V)?{_STOP}"),
        ("mah", rf"{_THOUSANDS}\s?(?:mA\s?h|\u043c\u0430\s?\u0447)(?![A-Za-z])"),
        ("ah", rf"{_N}\s?Ah{_STOP}"),
        ("wh", rf"{_N}\s?Wh{_STOP}"),
        ("c_rate", rf"{_N}\s?C?\s?[/-]\s?{_N}\s?C{_STOP}"),
        ("c_burst", rf"(?:burst|peak|max)\s?:?\s?{_N}\s?C{_STOP}"),
        ("c_burst", rf"{_N}\s?C\s?(?:burst|peak|max){_STOP}{_NO_NUMBER}"),
        ("c_rate", rf"{_N}\s?C{_STOP}"),
        ("celsius", rf"(-?\d{{1,2}})\s?\u00b0?\s?C{_STOP}"),
        ("fahrenheit", rf"(-?\d{{1,3}})\s?\u00b0\s?F{_STOP}"),
        ("other", rf"\d{{1,3}}(?:\.\d)?\s?(?:m/s|km/h|kmh|mph|knots|kt){_STOP}"),
        ("metres", r"(\d{2,4})\s?m(?!\w)"),
        ("other", rf"\d{{1,4}}\s?W(?:atts?)?{_STOP}"),
        (
            "no_load",
            rf"(?:no[-\s]?load|idle|I0|Io)(?:\scurrent)?\s?[:=]?\s?{_N}\s?A(?:\s?(?:[@/]|at)?\s?{_N}\s?V)?{_STOP}",
        ),
        ("no_load", rf"{_N}\s?A\s?(?:no[-\s]?load|I0|Io)?\s?@\s?{_N}\s?V{_STOP}"),
        ("amps_burst", rf"{_N}\s?A(?:mps?)?{_FOR}\s?(?:burst|peak){_STOP}"),
        ("amps_burst", rf"(?:burst|peak)\s?:?\s?{_N}\s?A(?:mps?)?{_STOP}{_FOR}?"),
        ("amps_burst", rf"{_N}\s?A(?:mps?)?\s?(?:burst|peak){_STOP}(?:{_FOR}|{_NO_NUMBER})"),
        ("amps", rf"{_N}\s?A?\s?/\s?{_N}\s?A(?:mps?)?{_STOP}"),
        ("amps", rf"{_N}\s?A\s?\(\s?{_N}\s?A\s?\)"),
        ("amps", rf"{_N}\s?A(?:mps?|mperes?)?(?:{_STOP}|(?=[x*]\d))"),
        ("other", rf"\d{{1,2}}\s?-?\s?bit{_STOP}"),
        ("milliohm", rf"{_N}\s?(?:m\s?(?:ohms?|\u03a9|r)|milli-?ohms?){_STOP}"),
        ("ohm", rf"(0?\.\d{{1,4}})\s?(?:ohms?|\u03a9){_STOP}"),
        ("awg", rf"(\d{{1,2}})\s?-?\s?(?:AWG|gauge){_STOP}"),
        ("awg", rf"AWG\s?[:#]?\s?(\d{{1,2}}){_END}"),
        ("kilograms", rf"(\d{{1,2}}(?:\.\d{{1,3}})?)\s?kgs?{_STOP}"),
        (
            "pounds",
            rf"(\d{{1,2}}(?:\.\d{{1,2}})?)\s?(?:lbs?|pounds?)(?:\s?(\d{{1,2}}(?:\.\d)?)\s?(?:oz|ounces?))?{_STOP}",
        ),
        ("ounces", rf"(\d{{1,3}}(?:\.\d{{1,2}})?)\s?(?:oz|ounces?){_STOP}"),
        ("cap", r"(\d{2,3})\s?%\s?(?:motor |throttle |output ){0,2}(?:cap|limit|output)(?![A-Za-z])"),
        ("cap", r"(?:throttle |output |motor ){0,2}(?:cap|limit)\s?(?:of|at|to|[:=])?\s?(\d{2,3})\s?%"),
        ("other", r"\d{1,3}(?:\.\d)?\s?%"),
        ("grams", rf"(\d{{1,5}}(?:\.\d{{1,2}})?)\s?(?:gramm?(?:e?s|os|i)?|gr|gms?|g){_STOP}"),
        ("other", rf"(?:[5-9]|1\d)T{_STOP}"),
        ("cycles", rf"(\d{{1,4}})\s?(?:cycles?|flights?){_STOP}"),
        ("cell_code", rf"(?:[A-Z]\d{{2}}[A-Z]|\d{{2}}[QRET]|[2-5][05]S){_STOP}"),
        ("volts", rf"{_N}\s?V(?:olts?|DC)?{_STOP}"),
        ("other", rf"V\d(?:\.\d)?[A-Z]?{_STOP}"),
        ("other", rf"\d{{1,2}}\s?-?\s?(?:years?|months?|seasons?|jahre?|monate?|ans){_STOP}"),
        ("other", rf"\d{{1,3}}(?:\.\d)?\s?-?\s?(?:min(?:s|utes?|uten)?|sec(?:s|onds?)?|hours?){_STOP}"),
        ("mm", rf"(\d{{1,4}}(?:\.\d{{1,2}})?)\s?mm{_STOP}"),
        ("cm", rf"(\d{{1,3}}(?:\.\d{{1,2}})?)\s?cm{_STOP}"),
        ("diameter", rf"{_N}\s?-?\s?{_IN}\s?dia(?:m|meter)?{_STOP}"),
        ("diameter", rf"dia(?:m|meter)?\s?[:=]?\s?{_N}\s?{_IN}?{_END}"),
        ("pitch", rf"{_N}\s?-?\s?{_IN}?\s?pitch{_STOP}"),
        ("pitch", rf"(?:pitch|steigung|paso?|passo)\s?[:=]?\s?{_N}\s?{_IN}?{_END}"),
        ("inch", rf"(\d{{1,2}}(?:\.\d{{1,3}})?)\s?-?\s?{_IN}(?![A-Za-z0-9])"),
        ("rotors", rf"([3-8])\s?-?\s?(?:motors|rotors|propellers|props){_STOP}"),
        ("rotors", rf"([3-8])-motor{_STOP}"),
        ("blades", rf"(\d)\s?-?\s?(?:blad(?:es?|ed)|bl|bl[a\u00e4]tt(?:er|ern)?|pales?|palas?){_STOP}"),
        ("blades", rf"([2-6])-?B{_STOP}"),
        ("blade_word", rf"(?P<mark>two|twin|bi|three|tri|four|quad|five|six)\s?-?\s?blad(?:es?|ed){_STOP}"),
        ("blade_word", rf"(?P<mark>tri|bi|drei|zwei)\s?-?\s?(?:blatt|pales?|palas?){_STOP}"),
        ("blade_word", rf"(?P<mark>tri|bi){_STOP}"),
        ("code", rf"(\d{{4}}(?:\.\d)?|\d{{5}})(?:V\d(?:\.\d)?|(?!SF)[EFPRSTW][A-Z]?){_STOP}"),
        ("code", rf"(\d{{4}}(?:\.\d)?)\s?{_SHAPE}?{_END}"),
        ("code", rf"(\d{{5}})\s?{_SHAPE}?{_END}"),
        ("blade_shape", rf"(?P<mark>narrow|slim|thin|medium|middle|broad|wide)\s?-?\s?blad(?:es?|ed){_STOP}"),
        ("blade_shape", rf"(?P<mark>slow\s?-?\s?fl(?:yers?|ying|y|ight)){_STOP}"),
        ("number", rf"(\d{{1,5}}(?:\.\d{{1,2}})?){_END}"),
        ("number", rf"(\d{{1,2}}'\d{{3}}){_END}"),
        ("chemistry", rf"(?P<mark>li\s?-?\s?hv|lipo\s?-?\s?hv|high\s?-?\s?voltage|hv){_STOP}"),
        ("chemistry", rf"(?P<mark>li(?:thium)?\s?-?\s?ion|lion){_STOP}"),
        ("chemistry", rf"(?P<mark>li\s?-?\s?po(?:lymer)?){_STOP}"),
        ("connector", rf"(?!in|to|on|at|up|or|no|of)[A-Z]{{2}}-?(30|60|90|120|150)(?:H|PW|PB)?{_END}"),
        ("plug", rf"(?!KV)[A-Z]{{2,3}}\d\.\d{_STOP}"),
        ("dry", rf"dry(?:\s?(?:weight|mass))?{_STOP}"),
        ("dry", rf"(?:without|w/o|ohne|sans|sin|no|excl\.?|excluding|minus)\s(?:the\s|a\s)?{_PACK}{_STOP}"),
        ("threshold", rf"sub\s?-?\s?(\d{{2,4}})\s?(?:grams?|g)?{_STOP}"),
        ("word", r"(?P<mark>stators?|motors?|props?|propellers?|lipo|battery|esc|pack)(?=\d)"),
        ("prefix", r"(?!KV|mAh|Ah|uF|AWG)[A-Z]{1,3}-?(?=\d{4,5}(?!\d))"),
        ("prefix", r"(?!KV)[A-Z]{1,2}(?=\d{1,2}(?:\.\d{1,2})?x\d(?:\.\d{1,2})?x[2-6](?!\d))"),
        ("coaxial", rf"(?P<mark>coax(?:ial)?){_STOP}"),
        ("craft", rf"(?P<mark>quad(?:copter)?|hexa?(?:copter)?|octo?(?:copter)?|tricopter){_STOP}"),
        ("screw", rf"M\d(?:\.\d)?(?:x\d{{1,2}})?{_STOP}"),
        ("word", rf"(?P<mark>all)[ -](?:up|in){_STOP}"),
        ("word", rf"(?P<mark>{_LETTER}(?:{_LETTER}|['-]){{0,30}}(?:_\d{{1,3}})?){_STOP}"),
        ("word", rf"(?P<mark>{_OTHER_LETTER}{{1,30}})(?![A-Za-z])"),
    )
]
_JUNK = re.compile(r"[^\s,;|\n]{1,80}")
_SPACE = " \t"
_BREAK = "\n;|"
_LOOSE = "?!-/+:()[]{}&@#=.,_~\u2022'\"*"

_DECIMAL = re.compile(r"(?<![\d.])(\d{1,2}),(\d{1,2})(?![\d.,]\d|\d|\s?[Ss](?![A-Za-z])|\s?cells?)")
_TENTH = re.compile(r"(?<![\d.,])(\d{3,4}),(\d)(?=\s?(?:g|gr|gramm?|mm)(?![A-Za-z]))")
_HALF_STATOR = re.compile(r"(?<![\d.,])(\d{4}),(\d)(?=$|[\s\-/])")
_MISPLACED = re.compile(r"(?<![\d.,])(\d{1,2})[,.](\d{3})(?=\s?(?:mAh|KV))", re.IGNORECASE)
_GROUPED = re.compile(r"(?<![\d.,])(\d),(\d{3})(?=(?:\.\d)?(?:[\s\-/]|$))")
"""A sign between thousands that stands in a code: 2,207."""
_FRACTIONS = {"\u00bd": ".5", "\u00bc": ".25", "\u00be": ".75"}
_FRACTION = re.compile(r"(?<=\d) ?([\u00bd\u00bc\u00be])")
_HALF = re.compile(r"(?<=\d\d\d\d) 1/2(?![\d/])")
_HALF_INCH = re.compile(r"(?<![\d.,/])(\d{1,2}) 1/2(?= ?(?:inch|in\b|\"|\u201d|\u2033|''|zoll))", re.IGNORECASE)
_CELL_READINGS = re.compile(
    r"\bIR ?[:=]? ?((?:\d{1,2}(?:\.\d)?[ /]){1,13}\d{1,2}(?:\.\d)?)(?![\w.])(?: ?m(?:ohms?|\u03a9|\u2126))?",
    re.IGNORECASE,
)
"""What a charger shows of each cell: IR 11 12 12 13."""
_WRITTEN = {
    "two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9",
    "ten": "10",
}  # fmt: skip
_COUNTS_WRITTEN = re.compile(rf"\b({'|'.join(_WRITTEN)})(?=[ -]?(?:inch|cells?\b|s\b))", re.IGNORECASE)
_SPACED = re.compile(r"(?<![\w.,])(\d{1,2}) (\d{3})(?=\s?(?:mAh|KV))", re.IGNORECASE)
_CHAIN = re.compile(r"[x*]\s?\d{1,3}(?:[.,]\d{1,2})?\s?[x*]\s?\d$", re.IGNORECASE)
_SIGNS = str.maketrans(
    {"\u00d7": "x", "\u2715": "x", "\u2013": "-", "\u2014": "-", "\u2212": "-", "\u2010": "-", "\u2011": "-",
     "\u201c": '"', "\u201d": '"', "\u2033": '"', "\u2019": "'", "\u2032": "'", "\u2126": "\u03a9",
     "\u00b5": "\u03bc", "\u0445": "x", "\u0425": "x",
     "\r": "\n", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u223c": "~"}
)  # fmt: skip


def _mean_of_cells(found: re.Match[str]) -> str:
    each = [float(number) for number in re.split(r"[ /]", found[1])]
    return f"IR {sum(each) / len(each):.3g} mohm"


def canonical(text: str) -> tuple[str, str]:
    """Clean a text and determine the meaning of each comma.

    Parameters
    ----------
    text : str
        Text as entered; truncated at `MAX_LENGTH`.

    Returns
    -------
    display, read : str
        Two texts of the same length. In ``read`` decimal commas are points, thousands separators are ' and other commas
        are line ends; ``display`` has the text as entered.

    Examples
    --------
    >>> canonical("5,1x4,3x3,6S")[1]
    '5.1x4.3x3\\n6S'
    """
    text = _COUNTS_WRITTEN.sub(lambda m: _WRITTEN[m[1].lower()], text[:MAX_LENGTH])
    text = _HALF_INCH.sub(r"\1.5", _CELL_READINGS.sub(_mean_of_cells, text))
    text = _HALF.sub(".5", _FRACTION.sub(lambda m: _FRACTIONS[m[1]], text[:MAX_LENGTH]))
    display = unicodedata.normalize("NFKC", text[:MAX_LENGTH].translate(_SIGNS)).translate(_SIGNS)[:MAX_LENGTH]
    display = "".join(ch if ch.isprintable() or ch == "\n" else " " for ch in display)  # tabs too
    display = _GROUPED.sub(r"\1\2", display)
    read = _MISPLACED.sub(r"\1'\2", display)
    read = _SPACED.sub(r"\1'\2", read)
    read = _TENTH.sub(r"\1.\2", _HALF_STATOR.sub(r"\1.\2", read))

    def decimal(match: re.Match[str]) -> str:
        before = read[max(0, match.start() - 16) : match.start() + len(match[1])]
        return match[0] if _CHAIN.search(before) else f"{match[1]}.{match[2]}"

    read = _DECIMAL.sub(decimal, read)
    return display, read.replace(",", "\n")


def _number(text: str | None) -> float | None:
    return None if text is None else float(text.replace("'", ""))


def pieces_of(text: str, accept: Callable[[Piece], bool] = lambda piece: True) -> list[Piece]:
    """Divide a text into pieces.

    Parameters
    ----------
    text : str
        Text as entered.
    accept : callable
        Called with each piece; if it returns False, the next pattern is tried.

    Returns
    -------
    list of Piece

    Examples
    --------
    >>> [(p.kind, p.numbers) for p in pieces_of("2207-1950 6S2P")]
    [('stator_kv', (2207.0, 1950.0)), ('cells', (6.0, 2.0))]
    """
    display, read = canonical(text)
    found: list[Piece] = []
    position, segment = 0, 0
    while position < len(read):
        ch = read[position]
        if ch in _BREAK:
            segment += 1
            position += 1
        elif ch in _SPACE or (ch in _LOOSE and not read[position : position + 2].strip(_LOOSE)[:1].isalnum()):
            position += 1
        else:
            piece, length = _next(display, read, position, segment, accept)
            if piece is not None:
                found.append(piece)
            position += length
    if len(found) > 2 and len({piece.segment for piece in found}) == len(found):
        return [replace(piece, segment=0) for piece in found]  # commas where others type spaces
    return found


def _next(
    display: str, read: str, position: int, segment: int, accept: Callable[[Piece], bool]
) -> tuple[Piece | None, int]:
    for kind, pattern in _PATTERNS:
        match = pattern.match(read, position)
        if match is None:
            continue
        words = [g for g in match.groupdict().values() if g]
        named = set(pattern.groupindex.values())
        piece = Piece(
            kind,
            display[match.start() : match.end()].strip(),
            tuple(_number(g) for i, g in enumerate(match.groups(), start=1) if i not in named),
            " ".join(" ".join(words).lower().split()),
            segment,
        )
        if accept(piece):
            return piece, match.end() - position
    if read[position] in _LOOSE:
        return None, 1
    match = _JUNK.match(read, position)
    if match is None:
        return None, 1
    return Piece("junk", display[match.start() : match.end()], segment=segment), match.end() - position


_UNITS = ("KV", "mAh", "Ah", "AWG", "uF", "mm", "S", "A", "C", "V", "g")


def suggestions(text: str, accept: Callable[[Piece], bool] = lambda piece: True) -> list[str]:
    """Return possible corrections of a piece that cannot be read, the most likely first.

    Parameters
    ----------
    text : str
        The unread piece.
    accept : callable
        As for `pieces_of`.

    Returns
    -------
    list of str
        Spellings of which every piece has a known shape.

    Examples
    --------
    >>> suggestions("22o7")
    ['2207']
    >>> suggestions("1950VK")[0]
    '1950KV'
    """
    text = text[:40]
    digits = text.translate(str.maketrans("oOlIi", "00111"))
    tries = [
        digits,
        digits.translate(str.maketrans("BZ", "82")),
        re.sub(r"([.x*-]){2,3}", r"\1", text),
    ]
    if re.fullmatch(r"\d{4}", text) and int(text) % 50:
        tries += [text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in (2, 1, 0)]  # two digits turned
    tries.append(re.sub(r"([A-Za-z])\1{1,3}$", r"\1", text))
    tries.append(text.strip("xX*-_./,"))
    if turned := re.fullmatch(r"([A-Za-z]{1,3})(\d{1,5}(?:\.\d)?)", text):
        tries.append(turned[2] + turned[1])
    if split := re.fullmatch(r"([\d.,]{1,8})\s?([A-Za-z]{1,5})", digits):
        near = difflib.get_close_matches(split[2].lower(), [u.lower() for u in _UNITS], n=3, cutoff=0.5)
        near.sort(key=lambda unit: sorted(unit) != sorted(split[2].lower()))  # turned letters first
        tries += [split[1] + unit for low in near for unit in _UNITS if unit.lower() == low]
    tries.append(re.sub(r"^[A-Za-z]{1,4}[-_]?(?=\d)", "", text))
    tries.append(re.sub(r"(?<=\d)[-_]?[A-Za-z]{1,4}\d?$", "", text))
    tries.append(digits.translate(str.maketrans("BZS", "825")))
    good = []
    for attempt in dict.fromkeys(tries):
        if attempt and attempt != text:
            found = pieces_of(attempt, accept)
            if found and all(piece.kind not in ("junk", "word", "number") for piece in found):
                good.append(attempt)
    return good

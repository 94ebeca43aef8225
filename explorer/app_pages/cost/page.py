"""Cost: what does a session cost, which part costs most, and which spares to take?"""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import Any

import streamlit as st

from explorer.app_pages.cost import answers, figures
from explorer.controls import page_frame
from explorer.inputs import Inputs
from explorer.inputs.build_names import distinct_names
from explorer.session import kept_values, state
from explorer.text.numbers import number
from propmodel import costs

RATES = {
    # name: label, default, low, high, step, help
    "flights": ("Packs flown in a session", 6.0, 1.0, 60.0, 1.0, "One flight each."),
    "crashes": ("Crashes in a session", 1.0, 0.0, 20.0, 0.5, "On average; 0.2 is one in five sessions."),
    "propellers_per_crash": ("Propellers broken in a crash", 1.5, 0.0, 8.0, 0.5, "On average."),
}
PRICES = {
    "propeller": ("Price of one propeller", "One, not a set."),
    "pack": ("Price of one pack", ""),
    "motor": ("Price of one motor", ""),
}
MORE_RATES = {
    "packs_owned": ("Packs you own", 6.0, 1.0, 100.0, 1.0, "The flights are spread over them, and all of them age."),
    "sessions_per_year": ("Sessions in a year", 26.0, 1.0, 365.0, 1.0, "A pack ages between them."),
    "pack_temperature_c": (
        "Cell temperature in use, °C",
        35.0,
        0.0,
        70.0,
        1.0,
        "Every 10 °C above 25 about doubles the wear (rule of thumb).",
    ),
    "cycle_life": (
        "Cycles of a pack",
        200.0,
        20.0,
        2000.0,
        10.0,
        "Until you put it away, landing with a fifth left. 100 to 400 (common practice, from memory).",
    ),
    "packs_per_crash": ("Packs lost in a crash", 0.02, 0.0, 1.0, 0.01, "Dented, cut or swollen: never flown again."),
    "motors_per_100": ("Motors lost in 100 flights", 1.0, 0.0, 100.0, 0.5, "Of the whole craft."),
    "controllers_per_100": ("ESC lost in 100 flights", 0.5, 0.0, 100.0, 0.5, "A four-in-one board counts as one."),
}
MORE_PRICES = {
    "controller": ("Price of one ESC", "Of the board, for a four-in-one."),
    "other": ("Anything else, each session", "Travel, field fee, charging."),
}
PLURAL = {"packs": "packs", "propellers": "propellers", "motors": "motors", "controllers": "the ESC"}


def page(inputs: Inputs, pins: Sequence[Inputs]) -> None:
    """Draw the page."""
    page_frame.style("bench")
    page_frame.say('<h1 class="wi-ask">What does a session cost?</h1>')
    top = st.container(key="cost_top")
    rates, prices = form()
    weekend = more(rates, prices, pins)
    bill = answers.cost(inputs, rates, prices)
    with top:
        page_frame.say(f'<p class="wi-sentence wb-head">{page_frame.first_sentence(sentence(inputs, rates, bill))}</p>')
        page_frame.notice()
        strips(inputs, pins, rates, prices, bill)
    if any(given is not None for given in prices.values()):
        page_frame.say('<p class="wi-small">Prices are in no address: loading the page anew clears them.</p>')
    used = costs.consumption(answers.session_of(inputs, rates))
    page_frame.section("What counts", "pieces a session uses up, before any price")
    page_frame.say(figures.counts({part: float(getattr(used, part)) for part in costs.PARTS}))
    spares(inputs, rates, weekend)
    page_frame.say(
        '<p class="wi-small">Averages of rates that you guess, an estimate: one session may cost nothing or a '
        "whole craft. "
        "A dented, cut or swollen pack has no life left: quarantine it, never charge it again.</p>"
    )
    page_frame.next_question("why", "Why is that so?")


def form() -> tuple[dict[str, float], dict[str, float | None]]:
    """Draw the six most important inputs; return rates and prices."""
    rates: dict[str, float] = {}
    prices: dict[str, float | None] = {}
    with st.container(key="cost_form"):
        for slot, name in zip(st.columns(3, gap="medium"), RATES, strict=True):
            with slot:
                rates[name] = rate(name, RATES[name])
        for slot, name in zip(st.columns(3, gap="medium"), PRICES, strict=True):
            with slot:
                prices[name] = price(name, *PRICES[name])
    return rates, prices


def rate(name: str, how: tuple[str, float, float, float, float, str]) -> float:
    """Draw the field of one rate, and return it; a cleared field has its default."""
    label, default, low, high, step, help_ = how
    key = f"rate-must-{name}"
    kept_values.put(key, float(kept_values.get(name, default)))
    given = st.number_input(
        label, low, high, step=step, format="%g", key=key, help=help_ or None, on_change=_rate, args=(key, name)
    )
    return float(default if given is None else given)


def _rate(key: str, name: str) -> None:
    if st.session_state[key] is not None:
        kept_values.keep(key, name)


def price(name: str, label: str, help_: str, *, hint: str = "not told", whose: str = "") -> float | None:
    """Draw the field of one price; None if blank. Any currency. ``whose`` stores it for one build."""
    key, stored = f"price-{name}", whose or f"price_{name}"
    kept_values.put(key, kept_values.get(stored))
    return st.number_input(
        label,
        0.0,
        1e7,
        value=None,
        step=None,
        format="%g",
        key=key,
        placeholder=hint,
        help=(help_ + " Any currency, the same throughout.").strip(),
        on_change=kept_values.keep,
        args=(key, stored),
    )


PINNED_PRICES = ("propeller", "pack", "motor", "controller")


def _whose(name: str, pin: Inputs) -> str:
    """Return the name under which the price of a part of a pinned build is stored."""
    return f"price of the {name} of {pin!r}"


def more(rates: dict[str, float], prices: dict[str, float | None], pins: Sequence[Inputs]) -> float:
    """Draw all other inputs, closed at first; add them to both dicts. Return the sessions until the next shop."""
    for name, how in MORE_RATES.items():
        rates[name] = float(kept_values.get(name, how[1]))
    for name in MORE_PRICES:
        prices[name] = kept_values.get(f"price_{name}")
    with st.expander(
        f"More: packs and their wear, ESC, travel, prices of the pinned build{'s' * (len(pins) > 1)}",
        key="cost_more",
        on_change="rerun",
    ) as box:
        if box.open:
            names = list(MORE_RATES)
            for row in (names[:4], names[4:]):
                for slot, name in zip(st.columns(4, gap="medium"), row, strict=False):
                    with slot:
                        rates[name] = rate(name, MORE_RATES[name])
            for slot, name in zip(st.columns(4, gap="medium"), MORE_PRICES, strict=False):
                with slot:
                    prices[name] = price(name, *MORE_PRICES[name])
            for place, (pin, called) in enumerate(zip(pins, distinct_names(pins, state.usable()), strict=True)):
                st.caption(f"Prices of {page_frame.tame(called)}, where they differ")
                for slot, name in zip(st.columns(4, gap="medium"), PINNED_PRICES, strict=True):
                    with slot:
                        price(
                            f"pinned_{name}" + (f":{place}" if place else ""),
                            f"One {'ESC' if name == 'controller' else name}, pinned",
                            "",
                            hint="the same",
                            whose=_whose(name, pin),
                        )
    return float(kept_values.get("weekend", 2.0))


def sentence(inputs: Inputs, rates: dict[str, float], bill: costs.SessionCost) -> str:
    """Return the cost of a session in one sentence."""
    packs = f"{number(rates['flights'], 1.0)} pack{'s' if rates['flights'] != 1 else ''}"
    name = f"<em>{html.escape(inputs.name)}</em>" if inputs.name not in ("", "Your build") else "this craft"
    if len(bill.unpriced) == len(costs.PARTS) and float(bill.total) == 0.0:
        used = costs.consumption(answers.session_of(inputs, rates))
        return (
            f'A session of {packs} with {name} breaks about <b class="n">{number(float(used.propellers), 0.1)} '
            f"propellers</b> "
            f'and uses up <b class="n">{number(100 * float(used.packs), 1.0)} %</b> of a pack. Type prices below, '
            "in any currency, for the sum."
        )
    total = figures.money(float(bill.total))
    ends = f"{figures.money(float(bill.low))} to {figures.money(float(bill.high))}"
    first = f'A session of {packs} with {name} costs about <b class="n">{total}</b> <span class="r">({ends})</span>'
    largest = int(bill.largest)
    if largest >= 0 and float(getattr(bill, costs.PARTS[largest])) > 0.4 * float(bill.total):
        first += f", mostly {PLURAL[costs.PARTS[largest]]}"
    if float(bill.minutes) > 0.5:
        first += f', that is <b class="n">{figures.money(float(bill.per_minute))}</b> for each minute in the air'
    first += "."
    if bill.unpriced:
        left = [PLURAL[p] for p in bill.unpriced]
        first += f" Not counted, price missing: {', '.join(left)}."
    no_crash_chance = float(bill.chance_of_no_crash)
    if no_crash_chance >= 0.05:
        first += f" {costs.chance_in_words(no_crash_chance).capitalize()} there is no crash at all."
    return first


def strips(inputs: Inputs, pins: Sequence[Inputs], rates: dict, prices: dict, bill: costs.SessionCost) -> None:
    """Draw one bar per build, and the cost per minute of flight in words."""
    if float(bill.total) <= 0.0:
        return
    rows = [_row(inputs.name or "This build", bill, False)]
    words = ""
    others = []
    for pin, called in zip(pins, distinct_names(pins, inputs), strict=True):
        own = {k: kept_values.get(_whose(k, pin)) for k in PINNED_PRICES}
        there = {**prices, **{k: v for k, v in own.items() if v is not None}}
        others.append(answers.cost(pin, rates, there))
        rows.append(_row(called, others[-1], True))
    if others:
        other = others[0]
        a, b = float(bill.per_minute), float(other.per_minute)
        if b > 0.0 and a > 0.0:
            change = a / b - 1.0
            how = (
                "the same"
                if abs(change) < 0.01
                else f"{number(100 * abs(change), 1.0)} % {'more expensive' if change > 0 else 'cheaper'}"
            )
            words = (
                f"A minute in the air: {figures.money(a)} ({number(float(bill.minutes), 1.0)} minutes in all), pinned "
                f"{figures.money(b)} ({number(float(other.minutes), 1.0)} minutes): {how}."
            )
    page_frame.say(
        figures.strips(rows)
        + (f'<p class="wi-small">{html.escape(words)}</p>' if words else "")
        + '<p class="wi-small">Thin line: where the average lies if your rates are off by 1.6 times and the '
        "packs' life by two.</p>"
    )


def _row(name: str, bill: costs.SessionCost, pinned: bool) -> dict[str, Any]:
    parts = {part: float(getattr(bill, part)) for part in (*costs.PARTS, "other")}
    return {
        "name": name,
        "pinned": pinned,
        "parts": parts,
        "total": float(bill.total),
        "low": float(bill.low),
        "high": float(bill.high),
    }


def spares(inputs: Inputs, rates: dict[str, float], weekend: float) -> None:
    """Draw the table of spares to take, and how often they are enough."""
    page_frame.section("Spares to take", "so that each suffices at least 9 times in 10")
    key = "rate-must-weekend"
    kept_values.put(key, weekend)
    st.number_input(
        "Sessions until you can buy again",
        1.0,
        60.0,
        step=1.0,
        format="%g",
        key=key,
        on_change=_rate,
        args=(key, "weekend"),
        width=260,
    )
    found = costs.spares_list(answers.session_of(inputs, rates), sessions=weekend)
    page_frame.say(page_frame.table(["part", "lost on average", "take", "enough"], figures.spares(found)))
    page_frame.say(
        '<p class="wi-small">Propellers by pairs, half of them for each direction. We assume losses are '
        "random and independent. Packs: those dented in a crash; wear comes slowly and shows beforehand.</p>"
    )


page(state.usable(), state.pins())

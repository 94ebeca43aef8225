"""Why: stories, worked examples with the numbers of this build, troubleshooting, glossary."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

import streamlit as st

from explorer.app_pages.why import figures
from explorer.app_pages.why.derivations.derivation import Derivation, DerivationQuestion, check_words
from explorer.app_pages.why.derivations.questions import QUESTIONS, found
from explorer.app_pages.why.glossary import Term, terms_with
from explorer.app_pages.why.groups import FIRST, FIRST_TROUBLES, GROUPS
from explorer.app_pages.why.stories.story import Exercise, Facts, Story, exercises, facts, notes_of, said
from explorer.app_pages.why.stories.story_list import STORIES
from explorer.app_pages.why.troubleshooting.troubles import CraftAnswers, Trouble, troubles_with
from explorer.controls import field_controls, page_frame
from explorer.forecasts import headlines
from explorer.inputs import Inputs
from explorer.inputs.measured_parts import OwnInputs
from explorer.session import kept_values, state, whole_builds
from explorer.text.markup import folded
from explorer.text.numbers import lowered, prose, quantity_of, thousands

PAGE = page_frame.page_file("why")
STEPS = {"ask": "Ask", "show": "Show", "why": "Why"}
WAYS = ("less", "more")
PAGE_NAMES = {
    "lift": "Lift", "minutes": "Minutes", "margins": "Margins", "dive": "Dive", "choose": "Choose",
    "plug_in": "Plug in", "cost": "Cost",
}  # fmt: skip
WITH_STRIP = ("lift", "minutes", "margins", "dive")
"""Pages with a slider strip, where the input of a question can be changed."""


def text(plain: str) -> str:
    """Return plain text as HTML, with the formats of `explorer.text.numbers.prose`."""
    return html.escape(prose(plain))


# ---- questions --------------------------------------------------------------------------------------------


@st.cache_data(show_spinner=False, max_entries=512, hash_funcs={Inputs: repr, OwnInputs: repr})
def worked(key: str, inputs: Inputs) -> Derivation:
    """Return the worked example of one question for a build."""
    return next(q for q in QUESTIONS if q.key == key).work(headlines.build(inputs))


def steps_html(steps: Sequence[tuple[str, str, str]]) -> str:
    """Return the steps of a worked example (quantity, formula with numbers, source) as HTML."""
    rows = "".join(
        f"<dt>{text(what)}</dt><dd><code>{text(thousands(sum_))}</code></dd>"
        + (f'<dd class="src">{text(source)}</dd>' if source else "")
        for what, sum_, source in steps
    )
    return f'<dl class="wi-working">{rows}</dl>'


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"


def _opened(knob: str) -> None:
    field_controls.offer(knob)  # the slider strip of the linked page then shows this input


def question(q: DerivationQuestion, inputs: Inputs) -> None:
    """Draw one question; its worked example is computed only when opened."""
    knob = q.knob if q.page in WITH_STRIP and q.knob in field_controls.KNOBS else ""
    with st.expander(q.ask, key=f"why_q_{q.key}", on_change=_opened if knob else "rerun", args=(knob,)) as box:
        if not box.open:
            return
        got = worked(q.key, headlines.plain(inputs))
        checked = check_words(got)
        page_frame.say(
            f'<p class="wi-words">{text(q.words)}</p>{steps_html(got.steps)}'
            + (f'<p class="wi-small">{text(checked)}</p>' if checked else "")
        )
        label = (
            f"Try it: move {field_controls.described(knob).label} on {PAGE_NAMES[q.page]}"
            if knob
            else f"See it on {PAGE_NAMES[q.page]}"
        )
        st.page_link(page_frame.page_file(q.page), label=f"{label} →")


@st.cache_data(show_spinner=False, max_entries=64, hash_funcs={Inputs: repr, OwnInputs: repr})
def said_of(inputs: Inputs, keys: tuple[str, ...]) -> dict[str, str]:
    """Return the answers to some troubleshooting entries by key, with the numbers of a build."""
    craft = CraftAnswers(headlines.build(inputs), headlines.profile(inputs))
    return {t.key: t.say(craft) for t in troubles_with("") if t.key in keys}


def trouble_rows(asked: Sequence[Trouble], answers: dict[str, str]) -> str:
    """Return the entries as ``<details>`` elements, which open without the server; HTML."""
    rows = "".join(
        f'<details class="fold"><summary>{text(t.ask)}</summary><p>{text(answers[t.key])}'
        f'<span class="on">On {PAGE_NAMES[t.page]} there is more.</span></p></details>'
        for t in asked
    )
    return f'<div class="wi-troubles">{rows}</div>'


def term_rows(terms: Sequence[Term]) -> str:
    """Return the glossary terms as HTML."""
    rows = "".join(f"<div><dt>{text(t.word)}</dt><dd>{text(t.plain)}</dd></div>" for t in terms)
    return f'<dl class="wi-terms">{rows}</dl>'


def story_rows() -> None:
    """Draw the list of stories."""
    with st.container(key="why_stories"):
        for story in STORIES.values():
            st.page_link(PAGE, label=story.title, query_params={"story": story.key, "step": "ask"})
            page_frame.say(f'<p class="wi-teaser">{text(story.teaser)}</p>')


def _asked_first(asked: Sequence[DerivationQuestion], words: str, inputs: Inputs) -> None:
    """Draw the questions: all search results; without a search the first ones, and the others in groups."""
    for q in asked:
        if words or q.key in FIRST:
            question(q, inputs)
    for page, name in GROUPS.items():
        rest = [] if words else [q for q in asked if q.page == page and q.key not in FIRST]
        if not rest:
            continue
        with st.expander(f"{name}: {len(rest)} more", key=f"why_group_{page}", on_change="rerun") as box:
            if box.open:
                for q in rest:
                    question(q, inputs)


def _troubles_first(troubles: Sequence[Trouble], words: str, answers: dict[str, str]) -> str:
    """Return the troubleshooting entries, arranged as in `_asked_first`; HTML."""
    displayed = [t for t in troubles if words or t.key in FIRST_TROUBLES]
    out = trouble_rows(displayed, answers)
    for page, name in GROUPS.items():
        rest = [] if words else [t for t in troubles if t.page == page and t not in displayed]
        out += folded(f"{name}: {len(rest)} more" if rest else "", trouble_rows(rest, answers))
    return out


@st.fragment
def lists(inputs: Inputs) -> None:
    """Draw the stories, search field, questions, troubleshooting and glossary."""
    # on a phone the style sheet puts the stories above the search field
    with st.container(key="why_pair"):
        right, left = st.columns([1, 1.7], gap="large")
    with left:
        with st.container(key="why_search"):
            words = st.text_input(
                "Search questions and words",
                key="why_words",
                max_chars=60,
                placeholder="amps, hot, spark, dive ...",
                help="In your own words, such as: motor hot in hover. Empty shows all.",
            )
        asked, troubles, terms = found(words), troubles_with(words), terms_with(words)
        about = inputs.name if inputs.name not in ("", "Your build") else "your build"
        page_frame.section("Why is it so?", f"{_count(len(asked), 'question')} with the numbers of {about}")
        with st.container(key="why_list"):
            _asked_first(asked, words, inputs)
        if not asked:
            page_frame.say(
                '<p class="wi-words">No question holds these words. '
                + ("What follows may help.</p>" if terms or troubles else "Try one word, such as amps or dive.</p>")
            )
        if troubles:
            page_frame.section("Something went wrong?", f"{_count(len(troubles), 'thing')} that people ask")
            answers = said_of(headlines.plain(inputs), tuple(t.key for t in troubles))
            page_frame.say(_troubles_first(troubles, words, answers))
    with right:
        page_frame.section("Stories", "invented craft: guess first, then see")
        story_rows()
    if terms:
        rows = term_rows(terms)
        page_frame.say(rows if words else folded(f"Words of the trade in plain words: {len(terms)}", rows))


# ---- the user's own build ---------------------------------------------------------------------------------


def _load(got: Facts) -> None:
    """Load the build of a story, and pin the build before the change; the user's own build is stored."""
    whole_builds.set_aside()
    if got.story.loads_before:
        whole_builds.put(got.before)
    else:
        whole_builds.put(got.after)
        state.compare_with(got.before)


def own_build() -> None:
    """Draw the button that restores the user's own build, if a story's build is loaded."""
    own = whole_builds.aside()
    if own is not None:
        name = page_frame.tame(own.name) or "no name"
        if st.button(f"Back to my build: {name}", key="why_back", on_click=whole_builds.take_back):
            st.rerun()  # the labels are outside this fragment


# ---- stories ----------------------------------------------------------------------------------------------


def _answers_of(key: str) -> dict:
    """Return the user's answers in a story, which are stored in the session."""
    return kept_values.first(f"why_guess:{key}", {"way": None, "by": 10.0, "quiz": None})


def _took(key: str, name: str, widget: str) -> None:
    _answers_of(key)[name] = st.session_state[widget]


def _guess(key: str) -> float | None:
    answers_given = _answers_of(key)
    if answers_given["way"] is None or answers_given["by"] is None:
        return None
    return (-1.0 if answers_given["way"] == "less" else 1.0) * float(answers_given["by"]) / 100.0


def _go(step: str) -> None:
    st.query_params["step"] = step


def guess_controls(story: Story) -> None:
    """Draw the fields for the guess: direction and amount, and a multiple-choice question."""
    answers_given, key = _answers_of(story.key), story.key
    with st.container(key="why_guess"):
        way, amount = st.columns([1, 1], vertical_alignment="bottom", gap="small")
        with way:
            name = f"why_way:{key}"
            kept_values.put_first(name, answers_given["way"])
            st.segmented_control("I say", WAYS, key=name, on_change=_took, args=(key, "way", name))
        with amount:
            name = f"why_by:{key}"
            kept_values.put_first(name, answers_given["by"])
            st.number_input(
                "by about, %", 0.0, 300.0, step=1.0, format="%g", key=name, on_change=_took, args=(key, "by", name)
            )
    with st.container(key="why_pick"):
        name = f"why_quiz:{key}"
        options = range(len(story.quiz.options))
        kept_values.put_first(name, answers_given["quiz"])
        st.radio(
            story.quiz.ask,
            options,
            index=None,
            format_func=lambda k: story.quiz.options[k],
            key=name,
            on_change=_took,
            args=(key, "quiz", name),
        )


def quiz_html(got: Facts, mine: int | None) -> str:
    """Return the options with the correct one marked, and the reason; HTML."""
    quiz = got.story.quiz
    right = quiz.right(got)
    rows = []
    for k, option in enumerate(quiz.options):
        sign = "✓" if k == right else "✕"
        you = ' <span class="mine">(your answer)</span>' if k == mine else ""
        rows.append(f'<li class="{"right" if k == right else "wrong"}">{sign} {text(option)}{you}</li>')
    return (
        f'<p class="wi-story-ask">{text(quiz.ask)}</p><ul class="wi-quiz">{"".join(rows)}</ul>'
        f'<p class="wi-words">{text(quiz.because(got))}</p>'
    )


def notes_html(got: Facts) -> str:
    """Return the other results that change, one per row; HTML."""
    rows = "".join(
        f'<div><dt>{text(words)}</dt><dd>{text(a)} → <b>{text(b)}</b></dd><dd class="c">{text(change)}</dd></div>'
        for words, a, b, change in notes_of(got, page_frame.units())
    )
    more = "".join(f"<li>{text(t)}</li>" for t in got.story.also(got) if t)
    return f'<dl class="wi-then">{rows}</dl><ul class="wi-also">{more}</ul>'


def chart(got: Facts, *, revealed: bool) -> None:
    """Draw the chart with its legend."""
    guess = _guess(got.story.key)
    figure = figures.story_figure(got, guess=guess, revealed=revealed, units=page_frame.units())
    page_frame.chart(
        figure, key=f"why_chart_{got.story.key}", alt=figures.alt_text(got, guess=guess, revealed=revealed)
    )
    parts = [f'<span class="key"><i class="now"></i>{html.escape(got.before.name)}</span>']
    if revealed:
        parts.append(f'<span class="key"><i class="then"></i>{html.escape(got.after.name)}</span>')
        parts.append('<span class="key"><i class="band"></i>8 in 10 such craft</span>')
    if guess is not None:
        parts.append('<span class="key"><i class="guess"></i>your guess</span>')
    page_frame.say(f'<p class="wi-small">{"".join(parts)}</p>')


@st.fragment
def story_block(key: str) -> None:
    """Draw one story in its current step; a fragment, so that only this part of the page is rerun."""
    story = STORIES[key]
    step = st.query_params.get("step", "ask")
    step = step if step in STEPS else "ask"
    in_class = st.query_params.get("class") == "1"
    got = facts(story)
    place = list(STORIES).index(key) + 1
    marks = "".join(f"<li{' aria-current=step' if name == step else ''}>{words}</li>" for name, words in STEPS.items())
    page_frame.say(
        f'<h1 class="wi-ask">Story {place} of {len(STORIES)}, invented: {text(story.title)}</h1>'
        f'<p class="wi-scene">{text(story.setting)}</p><p class="wi-story-ask">{text(story.ask)}</p>'
        f'<ol class="wi-steps" aria-label="Steps of the story">{marks}</ol>'
    )
    {"ask": ask_step, "show": show_step, "why": why_step}[step](got)
    if in_class:
        class_part(got)
    else:
        st.page_link(
            PAGE,
            label="For a class: exercises and worked answers to this story",
            query_params={"story": key, "step": step, "class": "1"},
        )


def believed(misconception: str) -> str:
    """Return a common misconception in quotes and its correction; HTML."""
    said_, _, truth = misconception.partition(". ")
    return f"“{text(said_)}.” <b>In truth:</b> {text(lowered(truth))}"


def ask_step(got: Facts) -> None:
    """Draw the first step: the situation, the initial build, the guess."""
    left, right = st.columns([1, 1.25], gap="large")
    with left:
        guess_controls(got.story)
        with st.container(key="why_buttons", horizontal=True):
            st.button("Show me", key="why_to_show", type="primary", on_click=_go, args=("show",))
        own_build()
    with right:
        chart(got, revealed=False)


def show_step(got: Facts) -> None:
    """Draw the second step: the result and the guess."""
    verdict = said(got, _guess(got.story.key))
    left, right = st.columns([1, 1.25], gap="large")
    with left:
        page_frame.say(
            f'<p class="wi-said" role="status">{text(verdict)}</p>' + quiz_html(got, _answers_of(got.story.key)["quiz"])
        )
        with st.container(key="why_buttons", horizontal=True):
            st.button("And why?", key="why_to_why", type="primary", on_click=_go, args=("why",))
            st.button("Ask me again", key="why_again", on_click=_go, args=("ask",))
    with right:
        chart(got, revealed=True)
    page_frame.section("What else changes", f"{got.before.name} → {got.after.name}")
    page_frame.say(notes_html(got))


def why_html(got: Facts) -> str:
    """Return the formula with the numbers of both builds, the misconception, and the caution; HTML."""
    story = got.story
    caution = f'<p class="wi-notice">{text(story.caution)}</p>' if story.caution else ""
    return (
        steps_html(story.why(got))
        + '<p class="wi-story-ask">What many believe</p>'
        + f'<p class="wi-wrong">{believed(story.misconception)}</p>{caution}'
    )


def why_step(got: Facts) -> None:
    """Draw the third step: the reason for the result, and links."""
    page_frame.say(f'<p class="wi-said">{text(said(got, _guess(got.story.key)))}</p>{why_html(got)}')
    with st.container(key="why_buttons", horizontal=True):
        loaded = got.before if got.story.loads_before else got.after
        if st.button(
            f"Load this build: {loaded.name}",
            key="why_load",
            help="Puts it on every page, beside the one the story begins with. Your own is kept.",
        ):
            _load(got)
            st.rerun()
        own_build()
        st.button("Back to the chart", key="why_to_show", on_click=_go, args=("show",))
        st.button("Ask me again", key="why_again", on_click=_go, args=("ask",))
    with st.container(key="why_more", horizontal=True):
        keys = list(STORIES)
        after = STORIES[keys[(keys.index(got.story.key) + 1) % len(keys)]]
        st.page_link(PAGE, label=f"Next story: {after.title} →", query_params={"story": after.key, "step": "ask"})
        if st.query_params.get("class") != "1":
            st.page_link(
                PAGE,
                label="With exercises, for a class →",
                query_params={"story": got.story.key, "step": "why", "class": "1"},
            )


# ---- for a class ------------------------------------------------------------------------------------------


def class_part(got: Facts) -> None:
    """Draw the worked answer and three exercises, with answers computed from the build; printed with the page."""
    story = got.story
    with st.container(key="why_exercises"):
        page_frame.section(
            "For a class", "answers are worked out now, from the builds; print this page with or without them"
        )
        with st.container(key="why_more_class", horizontal=True):
            open_ = st.checkbox("Show worked answers", value=True, key=f"why_open:{story.key}")
            seed = kept_values.get("why_seed", 0)
            if st.button("Other numbers", key="why_other"):
                seed += 1
                kept_values.keep_value("why_seed", seed)
        if open_ and st.query_params.get("step", "ask") != "why":
            page_frame.say(f'<p class="wi-said">{text(said(got, None))}</p>{quiz_html(got, None)}{why_html(got)}')
        page_frame.say(
            f'<p class="wi-words"><b>Three exercises.</b> The craft is {html.escape(got.before.name)}; everything not '
            "named stays. Right is what lies where 8 in 10 such craft land.</p>"
        )
        place = (st.context.url or "").split("?")[0]
        page_frame.say('<p class="wi-small">For those who are to guess first: the story without answers.</p>')
        st.code(f"{place}?story={story.key}&step=ask", language=None, wrap_lines=True)
        for k, one in enumerate(exercises(story, seed=seed), start=1):
            exercise(one, number=k, key=f"{story.key}:{seed}:{k}", open_=open_)


def exercise(one: Exercise, *, number: int, key: str, open_: bool) -> None:
    """Draw one exercise with a field for the answer, and the assessment of the answer."""
    units = page_frame.units()
    kind = quantity_of(one.kind, units, largest=one.high)
    page_frame.say(f'<p class="wi-words"><b>{number}.</b> {text(one.text)}</p>')
    unit = f", {kind.unit}" if kind.unit else ""
    entered = st.number_input(f"Answer {number}{unit}", value=None, key=f"why_answer:{key}", format="%g")
    words = ""
    if entered is not None and math.isfinite(entered):
        right = one.right((entered - kind.offset) * kind.scale)
        words = "✓ Right: within the band." if right else "✕ Outside the band."
    if open_:
        words = f"{words} It is {one.answer(units)}."
    page_frame.say(f'<p class="wi-words" role="status">{text(words.strip())}</p>')


# ---- the page ---------------------------------------------------------------------------------------------


def page(inputs: Inputs) -> None:
    """Draw the page."""
    page_frame.style("why")
    asked = st.query_params.get("story")
    if asked is not None and asked in STORIES:
        st.page_link(PAGE, label="← All questions, stories and words")
        story_block(asked)
        return
    page_frame.say(
        '<h1 class="wi-ask">Why is it so?</h1>'
        '<p class="wi-lead">Take a story: guess first, then look. Or open a question and see the formula with your own '
        "numbers in it.</p>"
        + ('<p class="wi-notice" role="status">There is no story of that name; here are all.</p>' if asked else "")
    )
    own_build()
    lists(inputs)
    page_frame.next_question("shelf", "Keep it, print it, take it along")


page(state.usable())

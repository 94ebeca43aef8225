"""The throttle exponent as a function of the build, beside a second term: the fourth look of SOURCE.md.

Run from the checkout: ``python data/motors/fourth_look.py`` (one minute). It needs what ``third_look.py`` needs. Every
form is judged with the whole stand left out. It writes ``forms_fourth_look.csv``.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

import fit_joint as joint  # noqa: E402
import third_look as third  # noqa: E402

TIP = {"load_power_of_exponent": None}
RIPPLE = {"kv_power_of_ripple": None}
DROP = {"drop_power_of_exponent": None}
FORMS = {
    "one exponent for all": {},
    "free tip speed (chosen)": TIP,
    "ripple with KV": RIPPLE,
    "free tip speed, ripple with KV": {**TIP, **RIPPLE},
    "free tip speed, voltage drop": {**TIP, **DROP},
    "voltage drop, ripple with KV": {**DROP, **RIPPLE},
}
CLASSES = {
    "5-inch": "makers, 5-inch three-blade",
    "6 to 15 inch": "makers, 6 to 15 inch",
    "A": "stand A (3S, 11 A)",
    "C and D": "stands C and D",
}
THROTTLES = {"20 to 36 %": (0.19, 0.37), "40 to 80 %": (0.39, 0.81), **joint.FULL}


def errors_of(t: pd.DataFrame) -> dict:
    """Median error of a table by class and throttle; share of makers' rows at half throttle inside the 80 % band."""
    out: dict = {}
    for name, which in CLASSES.items():
        for throttle, (low, high) in THROTTLES.items():
            g = t[joint.CLASSES[which](t) & t.throttle.between(low, high)]
            for q in joint.QUANTITIES:
                out[f"{name}, {throttle}: {q}"] = np.expm1(g[q].abs()).groupby(g.table).median().median()
    half = t[(t.group == "M") & t.throttle.between(0.39, 0.61)]
    for q in joint.QUANTITIES[:2]:
        inside = half[f"rank of {q}"].dropna().between(0.1, 0.9)
        out[f"makers, 40 to 60 %: {q} inside"] = inside.mean()
        out[f"makers, 40 to 60 %: {q} inside, by table"] = inside.groupby(half.table).mean().mean()
    return out


def main() -> None:
    rows, out = joint.read_rows(), []
    for name, free in FORMS.items():
        fit = third.Wider(rows, third.form(free), scatter=dict(joint.ONE_SCATTER)).solve()
        line = {"form": name, "cost": fit.cost, "value of the term": third.told(fit)}
        out.append(line | errors_of(joint.left_out(rows, fit, by="stand", bands=True)))
        print(name, round(fit.cost, 1), third.told(fit), flush=True)
    table = pd.DataFrame(out)
    table.to_csv(HERE / "forms_fourth_look.csv", index=False, float_format="%.3f")
    for line in out:
        cells = []
        for name in CLASSES:
            for throttle in THROTTLES:
                cells.append(" / ".join(f"{100 * line[f'{name}, {throttle}: {q}']:.1f}" for q in joint.QUANTITIES))
        print("|", line["form"], "|", round(line["cost"], 1), "|", " | ".join(cells), "|")
        print([f"{k} {100 * v:.0f}" for k, v in line.items() if "inside" in k])


if __name__ == "__main__":
    main()

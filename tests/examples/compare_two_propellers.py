"""Worked example: which of two propellers should this craft fly, and how sure is the answer?

Run it: ``python tests/examples/compare_two_propellers.py``. The craft is one of the invented ones that come with the
project; the tests run this file too. Every call takes arrays, so both propellers are one call.
"""

import numpy as np

import propmodel
from propmodel.studies import spread

INCH = 0.0254

# 1. A craft of labels. `demo` gives a whole Build; `with_fields` changes parts of it by dotted names.
build = propmodel.demo("scree")
pitches = np.array([4.3, 3.6])  # inch
pair = propmodel.with_fields(build, {"propeller.pitch": pitches * INCH})

# 2. Headline answers of both, in SI units.
answer = propmodel.performance(pair)
print("pitch   thrust/weight   hover     full throttle")
for k, pitch in enumerate(pitches):
    print(
        f"{pitch:.1f} in  {answer.thrust_to_weight[k]:6.1f}       {answer.hover_time[k] / 60:5.1f} min"
        f"   {answer.full_throttle_current[k]:5.0f} A"
    )

# 3. What the labels leave open: 8 of 10 craft with these labels lie between low and high.
low, _, high = spread.bands(pair, draws=128)
for k, pitch in enumerate(pitches):
    print(f"{pitch:.1f} in  hover {low.hover_time[k] / 60:.1f} to {high.hover_time[k] / 60:.1f} min")

# 4. What reaches its limit first when full throttle is held for ten seconds.
for pitch in pitches:
    one = propmodel.with_fields(build, {"propeller.pitch": pitch * INCH})
    first = propmodel.limits(one, hold=10.0)[0]
    print(f"{pitch:.1f} in  {first.sentence}")

assert answer.hover_time[1] > answer.hover_time[0]  # less pitch hovers longer on this craft
assert answer.full_throttle_current[1] < answer.full_throttle_current[0]

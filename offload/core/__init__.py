"""Relief plans for an insole: geometry, foam, pressure and drawings.

Conventions of the package
--------------------------
* Lengths in mm, areas in mm², forces in N, pressures in kPa, masses in kg, angles in degrees.
* Anatomical frame for both feet: the origin is the rearmost point of the insole on its long axis,
  ``y`` points distally (heel to toes), ``x`` points laterally. Drawings flip the left foot; the core never
  does.
* Values come in and go out as frozen dataclasses; nothing here knows a person, a database or a clock.
"""

CORE_VERSION = "1.5"

NOTICE = (
    "Calculated estimate that ranks plans; it does not show that any pressure target is reached. For an open "
    "ulcer no target is published: the limit of the checks and 30 % are figures of footwear that prevents "
    "ulcers. "
    "Confirm by in-shoe measurement and skin inspection. Supports licensed judgement; follow local protocol."
)

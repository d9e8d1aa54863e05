"""Names and remarks of the demo studio: all invented."""

from typing import Final

CAST: Final = ("odda", "jory", "brannock", "sedge", "heron", "grub", "ferryman", "gull-chorus")
"""Characters with a model sheet and a colour model of their own, most seen first."""

CAST_SHARE: Final = (0.5, 0.38, 0.24, 0.2, 0.16, 0.12, 0.08, 0.06)
"""In which share of the scenes each of them plays."""

PROPS: Final = (
    *("mail-sack", "brass-scales", "lantern", "eel-trap", "ladder", "umbrella", "ledger-book"),
    *("oilskin", "milk-churn", "weather-glass", "skiff", "bell", "wheelbarrow", "kettle"),
    *("pigeon-basket", "sheep", "kite", "sled", "harpsichord", "stilts", "pumpkin", "anchor"),
    *("accordion", "rope-ferry", "reed-cutter", "goose", "drum", "letter-box", "parasol"),
)

SETS: Final = (
    "post-house-hall",
    "post-house-loft",
    "mail-boat-deck",
    "eel-lock",
    "reed-maze",
    "market-quay",
)
"""Places of the series: some of their backgrounds serve several episodes."""

PLACES: Final = (
    *SETS,
    *("windmill-stair", "light-kitchen", "salt-pans", "ferry-slip", "school-yard", "long-dyke"),
    *("brannock-hut", "sluice-gate", "drying-sheds", "chapel-roof", "night-sea", "mud-flats"),
    *("orchard", "toll-bridge", "cellar", "bathing-hut", "wheel-house", "smoke-house"),
)

CYCLES: Final = ("odda-walk", "jory-run", "heron-flap", "water-lap", "gulls-wheel", "boat-bob")

OVERLAYS: Final = ("reeds", "railing", "window-frame", "mist", "nets", "doorpost")

NOTES: Final[dict[str, tuple[str, ...]]] = {
    "timing-and-sheets": (
        "The pause before the turn reads long; could it lose six frames?",
        "Sheet and board disagree on who speaks first here.",
        "The lap of the water wants the same count as the scene before.",
    ),
    "layout": (
        "The door opens the other way in the scene before.",
        "Field is too tight for the oar; please go one size wider.",
        "Horizon sits a little above the one in the master set.",
        "Where does the second character stand at the start?",
    ),
    "background": (
        "The lamp is lit in the layout and out in the painting.",
        "Please keep the left third quiet, the gulls cross there.",
        "Reeds are greener than in the neighbouring painting.",
        "The painted quay stops short of the last field of the pan.",
    ),
    "animation": (
        "Her left foot slides during the stop.",
        "The sack should weigh more when he lifts it.",
        "Mouth runs one frame ahead of the sheet at the end of the line.",
        "The heron blinks twice; once is enough.",
        "Please follow the new coat, the old one has three buttons.",
    ),
    "clean-up": (
        "Line gets thick from the ninth drawing on.",
        "Cap loses its badge halfway through the turn.",
        "The hand is left-handed on two of the extremes.",
    ),
    "in-between": (
        "The arc of the oar flattens in the middle.",
        "Two drawings carry the same number.",
        "Slow-out is missing at the end of the reach.",
    ),
    "ink-and-paint": (
        "The oilskin is painted with the day colours in a night scene.",
        "A gap at the elbow lets the background through.",
        "Belt buckle left unpainted on the second level.",
        "Dust on the last cel; please wipe before it goes to camera.",
    ),
    "animation-check": (
        "Sheet calls for three levels, only two came with the folder.",
        "Registration of the overlay is marked on the wrong side.",
    ),
    "camera": (
        "The pan starts four frames late.",
        "Please shoot with the mist overlay on top, not beneath.",
        "Flare in the upper corner during the truck in.",
    ),
    "cutting": (
        "This one could trim at the head; the look comes too early.",
        "Keep the last eight frames for the dissolve.",
    ),
    "mix": ("The bell rings under her line; bring it down.",),
    "storyboard": ("The panel does not say where the boat is moored.",),
    "design": ("Turnaround lacks the three-quarter back view.",),
}

ANSWERS: Final = (
    "Seen and put right.",
    "Agreed with the desk before; stays as it is.",
    "Changed on the sheet, folder goes on today.",
    "Right, done with the next hand-off.",
    "Talked over at the desk; small fix made.",
    "Checked against the board: the folder is correct.",
)

FAULTS: Final[dict[str, tuple[str, ...]]] = {
    "layout": ("Staging crosses the line.", "Scale of the figures does not match the set."),
    "background": ("Colour of the sky jumps.", "Perspective of the quay does not hold the figure."),
    "animation": (
        "Acting misses the line.",
        "Figure pops at the hook-up.",
        "Walk slides against the ground.",
        "Eyes look past the other figure.",
    ),
    "clean-up": ("Off model from the third key on.", "Volumes shrink in the turn."),
    "in-between": ("Jitter in the hold.", "Spacing jumps in the last third."),
    "ink-and-paint": (
        "Colour pops on the cap.",
        "Wrong palette for the hour of day.",
        "Paint misses on the sleeve.",
        "Line reads too dark against the set.",
    ),
    "camera": (
        "Exposure flickers.",
        "Move starts on the wrong frame.",
        "A level was shot one frame late.",
        "Hair on the plate.",
    ),
}

HOLDS: Final = (
    ("client", "Waits for the client's word on the label on the crate."),
    ("design", "Waits for the new sheet of the prop."),
    ("producer", "The song may be cut; producer decides."),
    ("broadcaster", "Broadcaster wants to see the fall first."),
    ("storyboard", "Board is being changed around here."),
)

REFUSALS: Final[dict[str, tuple[str, ...]]] = {
    "clean-up": ("Key drawing missing from the folder.", "Sheet not in the folder."),
    "in-between": ("Charts missing on two keys.", "Cleaned extremes are out of order."),
    "ink-and-paint": ("Open lines, paint would run out.", "Drawings unnumbered."),
    "animation-check": ("Cels not dry.", "A level is missing."),
    "camera": ("Folder came without the sheet.", "Peg holes torn on the overlay."),
}

STRUCK: Final = {
    "start": "Wrong folder booked; it was the scene beside it.",
    "hand-off": "Booked out by mistake; it is still on the desk.",
    "retake": "Called on the wrong scene; called again on the right one.",
    "note": "Written under the wrong scene.",
    "gate": "Typed the wrong week.",
}

"""A small knowledge that vets clean, for tests which spoil one thing in it."""

SMALL = """\
parts:
  bike: {name: bike}
  brake: {name: brake, inside: bike}
  pads: {name: pads, inside: brake, applies-to: {kind: [disc, drum]}}
facts:
  kind:
    about: bike
    ask: What brake is it?
    values: {disc: a disc, drum: a drum, rim: blocks on the rim}
    share: {disc: 0.5, drum: 0.2, rim: 0.3}
    source: from-memory
  weather:
    about: conditions
    ask: Was it wet?
    values: {dry: dry, wet: wet}
    share: {dry: 0.7, wet: 0.3}
    source: from-memory
    says: {wet: [in the rain]}
symptoms:
  squeal:
    part: brake
    name: squeal
    ask: Does it squeal?
    grades: {none: quiet, some: a little, loud: it howls}
    says: {loud: [it screams]}
    leak: {some: very-unlikely, loud: almost-no-chance}
  weak:
    part: brake
    name: weak brake
    ask: Does it stop badly?
    grades: {no: no, yes: yes}
    leak: almost-no-chance
    asked-when: {squeal: [some, loud]}
questions:
  both-at-once:
    ask: Which is it?
    answers:
      fine: {words: neither, sets: {squeal: none, weak: no}}
      both: {words: both, sets: {squeal: loud, weak: yes}}
checks:
  look-at-pads:
    name: Look at the pads
    part: pads
    how: [Look at both faces.]
    minutes: 2
    tools: [lamp]
    access: wheel-out
    settles:
      shine:
        ask: Do they shine?
        grades: {dull: dull, shiny: shiny}
        leak: {p: 0.01, source: from-memory}
      lining:
        ask: How thick is the lining?
        grades: {good: enough, thin: little, gone: none}
        leak: {thin: very-unlikely, gone: almost-no-chance}
        reading: {unit: mm, limits: {thin: 2, gone: 1}, worse: below, error: 0.1, span: [0, 9], source: from-memory}
causes:
  glazed:
    name: glazed pads
    part: pads
    mechanism: Heat hardens the skin of the lining.
    common: common
    shows: {squeal: {some: likely, loud: unlikely}, shine: almost-certain}
    confirm: look-at-pads
    fixes: [rub-pads, new-pads]
    danger: none
    raised-by: {weather: {dry: small}}
    lowered-by: {weather: {wet: {times: 3, source: from-memory}}}
    confused-with: [worn]
  worn:
    name: worn pads
    part: pads
    mechanism: The lining is used up.
    common: {p: 0.05, source: from-memory}
    shows: {lining: {thin: almost-certain, gone: likely}, weak: likely}
    confirm: look-at-pads
    fixes: [new-pads]
    danger: stop
    danger-because: Bare metal does not brake.
fixes:
  rub-pads:
    name: Rub the pads
    kind: clean
    steps: [Rub both faces on abrasive paper., Wipe the dust off with a wet cloth.]
    minutes: 5
    works: likely
    retest: [squeal, look-at-pads]
    hazards: [dust]
  new-pads:
    name: Fit new pads
    kind: replace
    steps: [Fit new pads., Tighten the pin to 2 to 3 N m.]
    minutes: 9
    works: almost-certain
    retest: [look-at-pads]
    figures: [{what: pin, value: 2 to 3, unit: N m, source: from-memory}]
    tools: [lamp]
    access: wheel-out
    then: [rub-pads]
access:
  on-stand: {name: on the stand, open: 1, close: 1}
  wheel-out: {name: wheel out, inside: on-stand, open: 2, close: 2, tools: [lamp]}
tools:
  lamp: {name: lamp}
hazards:
  dust: {name: brake dust, caution: Do not breathe it in., words: [dust]}
rules:
  stop-bare:
    when: [{finding: lining, is: [gone]}, {fact: kind, is: [disc]}]
    stop-riding: {because: There is no lining left., until: look-at-pads}
  rims-have-no-pads:
    when: [{fact: kind, is: [rim]}, {reading: lining, below: 9}, {done: rub-pads}]
    rules-out: [glazed]
    implies: {weather: dry, weak: no}
    do-first: [look-at-pads]
sources:
  common-practice: {title: the trade, kind: common-practice}
  from-memory: {title: our memory, kind: memory, year: 2020}
"""

HERE = "<here>"


Change = tuple[str, str, str]
"""(after, old, new): the first `old` that comes after the first `after` becomes `new`."""


def spoil(*changes: Change) -> tuple[str, str]:
    """Return the small knowledge with these changes made, and the place of the mark in one of them: 'line:column'."""
    text = SMALL
    for after, old, new in changes:
        at = text.index(old, text.index(after) + len(after))
        text = text[:at] + new + text[at + len(old) :]
    return placed(text)


def placed(marked: str) -> tuple[str, str]:
    """Return a text without its mark, and the place of the mark, counted from 1."""
    before, mark, rest = marked.partition(HERE)
    assert mark, "no mark"
    return before + rest, f"{before.count(chr(10)) + 1}:{len(before.rpartition(chr(10))[2]) + 1}"

"""Vetting: each rule finds its slip, at its place, and says what to do; what ships has none."""

import time

import pytest
from small_knowledge import HERE, SMALL, Change, spoil

from symptomtree.kb.load import read, read_bytes
from symptomtree.kb.shipped import shipped
from symptomtree.kb.vet import RULES, vet


def vetted(text: str) -> list[str]:
    return [str(problem) for problem in vet(read({"k.yaml": text.encode()}))]


def test_what_ships_vets_clean():
    """All the rules below hold for the knowledge that ships."""
    assert vet(read(read_bytes(shipped("knowledge")))) == []


def test_the_small_knowledge_vets_clean():
    """So each problem below comes from what was spoilt."""
    assert vetted(SMALL) == []


IDS: list[tuple[str, str, list[Change]]] = [
    ("K109", "'Shine' is not an id", [("settles:", "shine:", f"{HERE}Shine:")]),
    ("K109", "'so-so-' is not an id", [("lining:", "thin: little", f"{HERE}so-so-: little")]),
    ("K109", "'On Stand' is not an id", [("access:\n", "on-stand:", f"{HERE}On Stand:")]),
    ("K109", "'not_dry' is not an id", [("weather:", "wet: wet", f"{HERE}not_dry: wet")]),
    ("K109", "'It' is not an id", [("answers:", "fine:", f"{HERE}It:")]),
    ("K110", "id 'worn' is already taken at k.yaml:71:3", [("tools:\n", "lamp:", f"{HERE}worn:")]),
    ("K110", "id 'squeal' is already taken at k.yaml:20:3", [("settles:", "shine:", f"{HERE}squeal:")]),
    (
        "K110",
        "id 'shine' is already taken at k.yaml:48:15",
        [
            (
                "checks:",
                "settles:",
                "settles: {shine: {ask: a, grades: {a: a, b: b}, leak: likely}}\n  again:\n    name: again"
                "\n    part: pads\n    how: [Look.]\n    minutes: 1\n    settles:",
            ),
            ("again:", "shine:", f"{HERE}shine:"),
        ],
    ),
]

REFERENCES: list[tuple[str, str, list[Change]]] = [
    (
        "K201",
        "no parts entry 'brak'; did you mean 'brake'?",
        [("name: pads, ", "inside: brake", f"{HERE}inside: brak")],
    ),
    ("K201", "no parts entry 'brakes'; did you mean 'brake'?", [("squeal:\n", "part: brake", f"{HERE}part: brakes")]),
    ("K201", "no parts entry 'pad'; did you mean 'pads'?", [("at the pads\n", "part: pads", f"{HERE}part: pad")]),
    ("K201", "no parts entry 'pad'; did you mean 'pads'?", [("glazed pads\n", "part: pads", f"{HERE}part: pad")]),
    (
        "K201",
        "no sources entry 'memory'; did you mean 'from-memory'?",
        [("facts:", "source: from-memory", f"{HERE}source: memory")],
    ),
    ("K201", "no tools entry 'lamps'; did you mean 'lamp'?", [("minutes: 2\n    tools: [", "lamp", f"{HERE}lamps")]),
    ("K201", "no tools entry 'lamps'; did you mean 'lamp'?", [("from-memory}]\n    tools: [", "lamp", f"{HERE}lamps")]),
    ("K201", "no tools entry 'lamps'; did you mean 'lamp'?", [("close: 2, tools: [", "lamp", f"{HERE}lamps")]),
    ("K201", "no access entry 'wheel'", [("", "access: wheel-out", f"{HERE}access: wheel")]),
    (
        "K201",
        "no access entry 'stand'; did you mean 'on-stand'?",
        [("wheel out, ", "inside: on-stand", f"{HERE}inside: stand")],
    ),
    ("K201", "no checks entry 'look'", [("", "confirm: look-at-pads", f"{HERE}confirm: look")]),
    ("K201", "no fixes entry 'rub-pad'; did you mean 'rub-pads'?", [("fixes: [", "rub-pads", f"{HERE}rub-pad")]),
    ("K201", "no causes entry 'worm'; did you mean 'worn'?", [("confused-with: [", "worn", f"{HERE}worm")]),
    ("K201", "no hazards entry 'dusk'; did you mean 'dust'?", [("hazards: [", "dust", f"dust, {HERE}dusk")]),
    ("K201", "no findings or checks entry 'squeel'; did you", [("retest: [", "squeal", f"{HERE}squeel")]),
    ("K201", "no fixes or checks entry 'rub'", [("then: [", "rub-pads", f"{HERE}rub")]),
    ("K201", "no causes entry 'glaze'; did you mean 'glazed'?", [("rules-out: [", "glazed", f"{HERE}glaze")]),
    ("K201", "no checks or fixes entry 'look'", [("do-first: [", "look-at-pads", f"{HERE}look")]),
    ("K201", "no checks or fixes entry 'x'", [("implies:", "do-first: [look-at-pads]", f"must-follow: [{HERE}x]")]),
    ("K201", "no checks entry 'look'", [("There is no lining left., ", "until: look-at-pads", f"{HERE}until: look")]),
    ("K201", "no sources entry 'x'", [("value: 2 to 3, unit: N m, ", "source: from-memory", f"{HERE}source: x")]),
    ("K201", "no sources entry 'x'", [("span: [0, 9], ", "source: from-memory", f"{HERE}source: x")]),
    (
        "K201",
        "no sources entry 'x'",
        [("", "common: {p: 0.05, source: from-memory", f"{HERE}common: {{p: 0.05, source: x")],
    ),
    (
        "K201",
        "no sources entry 'x'",
        [("", "wet: {times: 3, source: from-memory", f"{HERE}wet: {{times: 3, source: x")],
    ),
    ("K201", "no facts entry 'sort'", [("applies-to: {", "kind:", f"{HERE}sort:")]),
    ("K201", "no facts entry 'whether'; did you mean 'weather'?", [("", "{weather: {dry", f"{{whether: {{{HERE}dry")]),
    (
        "K201",
        "no facts entry 'kin'; did you mean 'kind'?",
        [("", "{fact: kind, is: [disc", f"{HERE}{{fact: kin, is: [disc")],
    ),
    ("K201", "no findings entry 'squeel'; did you", [("asked-when: {", "squeal:", f"{HERE}squeel:")]),
    ("K201", "no findings entry 'squeel'; did you", [("sets: {", "squeal:", f"{HERE}squeel:")]),
    ("K201", "no findings entry 'squeel'; did you", [("shows: {", "squeal:", f"{HERE}squeel:")]),
    ("K201", "no findings entry 'week'; did you mean 'weak'?", [("implies: {weather: dry, ", "weak:", f"{HERE}week:")]),
    (
        "K201",
        "no findings entry 'linin'; did you mean 'lining'?",
        [("", "{finding: lining", f"{HERE}{{finding: linin")],
    ),
    ("K201", "no reading 'linin'; did you mean 'lining'?", [("", "{reading: lining", f"{HERE}{{reading: linin")]),
    ("K201", "no fixes entry 'rub'", [("", "{done: rub-pads", f"{HERE}{{done: rub")]),
    (
        "K202",
        "fact 'kind' has no value 'disk'; did you mean 'disc'?",
        [("applies-to: {", "kind: [disc", f"{HERE}kind: [disk")],
    ),
    ("K202", "fact 'weather' has no value 'west'; did you mean 'wet'?", [("says: {", "wet:", f"{HERE}west:")]),
    ("K202", "fact 'weather' has no value 'wry'", [("raised-by: {weather: {", "dry:", f"{HERE}wry:")]),
    ("K202", "fact 'kind' has no value 'rims'", [("", "{fact: kind, is: [rim]", f"{HERE}{{fact: kind, is: [rims]")]),
    ("K202", "fact 'weather' has no value 'fog'", [("implies: {", "weather: dry", f"{HERE}weather: fog")]),
    ("K202", "finding 'squeal' has no grade 'laud'; did you", [("it howls}\n    says: {", "loud:", f"{HERE}laud:")]),
    ("K202", "finding 'squeal' has no grade 'laud'; did you", [("", "squeal: [some, loud]", f"{HERE}squeal: [laud]")]),
    ("K202", "finding 'weak' has no grade 'yeah'", [("both: {", "weak: yes", f"{HERE}weak: yeah")]),
    (
        "K202",
        "finding 'lining' has no grade 'go'",
        [("", "{finding: lining, is: [gone]", f"{HERE}{{finding: lining, is: [go]")],
    ),
    ("K202", "finding 'weak' has no grade 'nope'", [("implies: {", "weak: no", f"{HERE}weak: nope")]),
    (
        "K202",
        "'bad' is no grade of it; grades are some, loud",
        [("shows: {", "loud: unlikely", f"{HERE}bad: unlikely")],
    ),
    ("K202", "'none' is the normal grade", [("shows: {", "some: likely", f"{HERE}none: likely")]),
    (
        "K203",
        "'bike' is inside itself: bike > brake > bike",
        [("", "{name: bike}", f"{{name: bike, {HERE}inside: brake}}")],
    ),
    ("K203", "'on-stand' is inside itself: on-stand > on-stand", [("", "open: 1", f"open: 1, {HERE}inside: on-stand")]),
]

LINING = "lining: {thin: almost-certain, gone: likely}"
EXCEPTION = """\
exceptions:
  alike:
    code: K323
    entries: [glazed, worn]
    because: They are opposites.
"""
WORN_SHOWS = f"shows: {{{LINING}, weak: likely}}"
SENSE: list[tuple[str, str, list[Change]]] = [
    ("K301", "the shares add up to 0.900, not to 1", [("", "share: {dry: 0.7", f"{HERE}share: {{dry: 0.6")]),
    ("K301", "'share' must name each value", [("", "share: {dry: 0.7, wet", f"{HERE}share: {{dry: 0.7, damp")]),
    ("K302", "'often' is none of", [("", "common: common", f"{HERE}common: often")]),
    ("K302", "; did you mean 'likely'?", [("shows: {", "some: likely", f"{HERE}some: likly")]),
    ("K302", "'seldom' is none of", [("weak:\n", "leak: almost-no-chance", f"{HERE}leak: seldom")]),
    ("K302", "'mostly' is none of", [("minutes: 5\n", "works: likely", f"{HERE}works: mostly")]),
    ("K302", "'big' is none of small, moderate, large", [("", "dry: small", f"{HERE}dry: big")]),
    (
        "K303",
        "one word for 3 grades; give 'grade: word' for thin, gone",
        [("", LINING, f"{HERE}lining: almost-certain")],
    ),
    ("K303", "no grade is given", [("shows: {", "squeal: {some: likely, loud: unlikely}", f"{HERE}squeal: {{}}")]),
    (
        "K303",
        "the leak says nothing of the worst grade 'loud'",
        [("", "leak: {some: very-unlikely, loud: almost-no-chance}", f"{HERE}leak: {{some: very-unlikely}}")],
    ),
    (
        "K304",
        "'loud' (0.875) is likelier than a milder grade (0.675)",
        [("shows: {", "loud: unlikely", f"{HERE}loud: very-likely")],
    ),
    (
        "K304",
        "'gone' (0.325) is likelier than a milder grade (0.125)",
        [("leak: {thin: very-unlikely, ", "gone: almost-no-chance", f"{HERE}gone: unlikely")],
    ),
    (
        "K305",
        "'limits' must name each of thin, gone",
        [("", "limits: {thin: 2, gone: 1}", f"{HERE}limits: {{thin: 2}}")],
    ),
    (
        "K305",
        "limits must rise in severity (below): [1.0, 2.0]",
        [("", "limits: {thin: 2, gone: 1}", f"{HERE}limits: {{thin: 1, gone: 2}}")],
    ),
    (
        "K305",
        "limits must rise in severity (below): [1.0, 1.0]",
        [("", "limits: {thin: 2, gone: 1}", f"{HERE}limits: {{thin: 1, gone: 1}}")],
    ),
    (
        "K305",
        "limits must rise in severity (above): [2.0, 1.0]",
        [("", "limits: {thin: 2, gone: 1}, worse: below", f"{HERE}limits: {{thin: 2, gone: 1}}, worse: above")],
    ),
    ("K305", "limits must lie inside the span 1.5 to 9.0", [("", "span: [0, 9]", f"{HERE}span: [1.5, 9]")]),
    ("K305", "limits must lie inside the span 9.0 to 0.0", [("", "span: [0, 9]", f"{HERE}span: [9, 0]")]),
    (
        "K306",
        "every answer must set the same findings",
        [("", "answers:", f"{HERE}answers:"), ("", "{squeal: none, weak: no}", "{squeal: none}")],
    ),
    (
        "K307",
        "settles no finding that this cause shows",
        [("", WORN_SHOWS, "shows: {squeal: {loud: likely}, weak: likely}"), ("worn pads", "confirm", f"{HERE}confirm")],
    ),
    (
        "K307",
        "settles nothing that this cause shows as 'very-likely' or more",
        [("", "shine: almost-certain", "shine: likely"), ("shine: likely", "confirm", f"{HERE}confirm")],
    ),
    ("K308", "a danger needs 'danger-because'", [("", "danger: none", f"{HERE}danger: care")]),
    ("K309", "needs two findings that tell it", [("", WORN_SHOWS, f"{HERE}shows: {{{LINING}}}")]),
    (
        "K310",
        "the step says 'dust' but 'hazards' lacks 'dust', so its caution",
        [("", "Wipe the dust", f"{HERE}Wipe the dust"), ("", "    hazards: [dust]\n", "")],
    ),
    (
        "K310",
        "the step says 'dust' but 'hazards' lacks",
        [("", "Look at both faces.", f"{HERE}Look through the Dust.")],
    ),
    (
        "K310",
        "the step says 'dust' but 'hazards' lacks",
        [("", "Look at both faces.", f"{{mind: Glasses on., {HERE}do: Look through the dust.}}")],
    ),
    (
        "K311",
        "a condition names one of",
        [("", "{fact: kind, is: [disc]", f"{HERE}{{fact: kind, done: rub-pads, is: [disc]")],
    ),
    ("K311", "a condition names one of", [("", "{fact: kind, is: [disc]", f"{HERE}{{is: [disc]")]),
    (
        "K311",
        "a condition on a fact needs 'is: [value, ...]'",
        [("", "{fact: kind, is: [disc]", f"{HERE}{{fact: kind")],
    ),
    (
        "K311",
        "on a finding needs 'is' or 'at-least'",
        [("", "{finding: lining, is: [gone]", f"{HERE}{{finding: lining")],
    ),
    ("K311", "on a reading needs 'above' or 'below'", [("", "{reading: lining, below: 9", f"{HERE}{{reading: lining")]),
    (
        "K312",
        "a rule without a conclusion",
        [("rules:\n", "stop", f"{HERE}idle:\n    when: [{{done: rub-pads}}]\n  stop")],
    ),
    (
        "K313",
        "no cause names this fix, and nothing makes it follow",
        [
            ("fixes:\n", "rub-pads", f"{HERE}rub-pads"),
            ("", "[rub-pads, new-pads]", "[new-pads]"),
            ("", "then: [rub-pads]", "then: []"),
        ],
    ),
    (
        "K314",
        "no cause shows 'weak' and no rule uses it",
        [("", "weak:\n    part", f"{HERE}weak:\n    part"), ("", WORN_SHOWS, f"shows: {{{LINING}, shine: unlikely}}")],
    ),
    (
        "K314",
        "no cause shows 'shine' and no rule uses it",
        [("settles:", "shine:", f"{HERE}shine:"), ("", "shine: almost-certain", LINING)],
    ),
    (
        "K315",
        "'2 to 3 N m' is not among the figures; write it there",
        [("", "Tighten the pin", f"{HERE}Tighten the pin"), ("", "value: 2 to 3", "value: 2 to 4")],
    ),
    (
        "K315",
        "'0.75 %' is not among the figures",
        [("minutes: 9", "\n", f"\n    cautions: [{HERE}Not above 0.75 %.]\n")],
    ),
    (
        "K315",
        "'0.75 %' is not among the figures",
        [("", "Fit new pads., T", f"{{{HERE}mind: Not above 0.75 %., do: Fit new pads.}}, T")],
    ),
    (
        "K316",
        "'weak' comes to 'yes' about as often for no reason (0.5) as by any cause (0.675 at most)",
        [("weak:\n", "leak: almost-no-chance", f"{HERE}leak: roughly-even")],
    ),
    (
        "K317",
        "nothing that costs little tells it from 'glazed', which has other fixes",
        [
            ("", "fixes: [rub-pads, new-pads]", "fixes: [rub-pads]"),
            ("", WORN_SHOWS, f"{HERE}shows: {{shine: almost-certain, squeal: {{some: likely, loud: unlikely}}}}"),
            (
                "",
                "raised-by: {weather: {dry: small}}\n    lowered-by: {weather: {wet: {times: 3, source: from-memory}}}",
                "applies-to: {}",
            ),
        ],
    ),
    (
        "K318",
        "the retest of 'new-pads' looks at nothing that this cause shows",
        [
            ("fixes: [rub-pads, ", "new-pads", f"{HERE}new-pads"),
            ("minutes: 9", "retest: [look-at-pads]", "retest: [weak]"),
        ],
    ),
    (
        "K319",
        "'stop', but no stop-riding rule looks at what it shows",
        [("", "danger: none", f"{HERE}danger: stop\n    danger-because: It is weak.")],
    ),
    (
        "K320",
        "'new-pads' needs kind rim, this cause disc or drum",
        [
            ("", "fixes: [rub-pads, new-pads]", f"fixes: [rub-pads, {HERE}new-pads]"),
            ("", "minutes: 9", "minutes: 9\n    applies-to: {kind: [rim]}"),
        ],
    ),
    (
        "K320",
        "'look-at-pads' needs kind rim, this cause disc or drum",
        [("", "confirm", f"{HERE}confirm"), ("", "minutes: 2", "minutes: 2\n    applies-to: {kind: [rim]}")],
    ),
    (
        "K320",
        "'squeal' needs kind rim, this cause disc or drum",
        [
            ("shows: {", "squeal", f"{HERE}squeal"),
            ("loud: almost-no-chance}", "\n", "\n    applies-to: {kind: [rim]}\n"),
        ],
    ),
    (
        "K321",
        "'Look at both faces' is no whole sentence",
        [("", "how: [Look at both faces.]", f"how: [{HERE}Look at both faces, never at the sun.]")],
    ),
    (
        "K321",
        "'Look away' is no whole sentence",
        [("", "how: [Look at both faces.]", f"how: [{{{HERE}mind: Look away, do: Look at both faces.}}]")],
    ),
    (
        "K322",
        "no entry names this one of the tools",
        [("tools:\n", "lamp:", f"{HERE}saw: {{name: saw}}\n  lamp:")],
    ),
    (
        "K322",
        "no entry names this one of the access",
        [
            (
                "    then: [rub-pads]\naccess:\n",
                "on-stand",
                f"{HERE}on-its-side: {{name: on its side, open: 1, close: 1}}\n  on-stand",
            )
        ],
    ),
    (
        "K322",
        "no entry names this one of the facts",
        [
            ("raised-by:", " {weather: {dry: small}}", " {}"),
            ("lowered-by:", " {weather: {wet: {times: 3, source: from-memory}}}", " {}"),
            ("facts:", "weather:", f"{HERE}weather:"),
        ],
    ),
    (
        "K323",
        "'pads that are worn' is nearly what 'glazed' is called: 'worn pads that are'",
        [
            ("glazed:\n", "name: glazed pads", "name: worn pads that are"),
            ("worn:\n", "name: worn pads", f"{HERE}name: pads that are worn"),
        ],
    ),
    (
        "K324",
        "shows nearly the same as 'glazed' (3 of 4 links)",
        [
            (
                "",
                WORN_SHOWS,
                f"{HERE}shows: {{shine: almost-certain, squeal: {{some: likely, loud: unlikely}}, weak: likely}}",
            )
        ],
    ),
    (
        "K324",
        "is linked with the very same causes as 'squeal'",
        [
            ("shows: {", "squeal", "weak: likely, squeal"),
            ("", WORN_SHOWS, f"shows: {{{LINING}, weak: likely, squeal: {{some: likely, loud: unlikely}}}}"),
            ("symptoms:", "weak:", f"{HERE}weak:"),
        ],
    ),
    (
        "K325",
        "a sentence of 36 words, more than 32; make two of it: 'Look at the pad",
        [("", "Look at both faces.", f"{HERE}{' '.join(['Look at the pad'] * 9)}.")],
    ),
    (
        "K326",
        "as hard as school grade 25.3, above 10; use shorter",
        [
            (
                "part: pads\n",
                "    mechanism: Heat hardens the skin of the lining.",
                f"    {HERE}mechanism: Overheating temporarily vitrifies linings.",
            )
        ],
    ),
    (
        "K327",
        "K323 has nothing to say of 'worn'",
        [("", "sources:\n", f"{EXCEPTION}sources:\n"), ("[glazed, ", "worn", f"{HERE}worn")],
    ),
    (
        "K328",
        "there is no exception from 'K301', only from K316",
        [("", "sources:\n", f"{EXCEPTION}sources:\n"), ("alike:\n", "    code: K323", f"    {HERE}code: K301")],
    ),
    *(
        ("K329", says, [("lining:\n", "        leak: {thin", f"        measure: {{{measure}}}\n        leak: {{thin")])
        for says, measure in (
            ("no tool 'chain-waer'; did you mean chain-wear?", f"{HERE}tool: chain-waer, values: [elongation]"),
            ("gives no 'elongations'", f"tool: chain-wear, values: [{HERE}elongations]"),
            ("elongation is in %, the finding needs mm", f"tool: chain-wear, values: [{HERE}elongation]"),
            ("has no field 'lenght'", f"tool: chain-wear, values: [elongation], given: {{{HERE}lenght: 3 mm}}"),
            ("a reading is one number", f"tool: chain-wear, {HERE}values: [elongation, elongation]"),
        )
    ),
    (
        "K329",
        "no tool 'chain-waer'; did you mean 'chain-wear'?",
        [("fixes:\n", "    retest: [", f"    measure-with: [{HERE}chain-waer]\n    retest: [")],
    ),
    ("K201", "no entry 'warn'", [("", "sources:\n", f"{EXCEPTION}sources:\n"), ("[glazed, ", "worn", f"{HERE}warn")]),
]


@pytest.mark.parametrize(("code", "says", "changes"), IDS + REFERENCES + SENSE)
def test_each_slip_is_told_at_its_place(code, says, changes):
    """Its code, `path:line:column`, and words that help."""
    text, place = spoil(*changes)
    found = vetted(text)
    assert any(line.startswith(f"k.yaml:{place}: {code} ") and says in line for line in found), found


def test_a_caution_at_a_step_is_no_step():
    """A hazard's word in the caution of a step does not say that the step is dangerous so."""
    assert vetted(SMALL.replace("[Look at both faces.]", "[{mind: Keep dust out., do: Look at both faces.}]")) == []


def test_each_rule_has_a_slip_above():
    """A rule without a test may have stopped working."""
    codes = {code for code, _, _ in IDS + REFERENCES + SENSE}
    assert codes >= {f"K{n}" for n in (109, 110, 201, 202, 203, *range(301, 330))}
    assert len(RULES) == len(set(RULES))


def test_every_slip_is_told_in_one_run():
    """In the order of lines, however many there are."""
    changes = [change for code, _, (change, *_) in SENSE if code in ("K301", "K302", "K305")][::2]
    text = SMALL
    for _, old, new in changes:
        text = text.replace(old, new.replace(HERE, ""), 1)
    found = vetted(text)
    assert {line.split()[1] for line in found} >= {"K301", "K302", "K305"}
    assert found == sorted(found, key=lambda line: [int(n) for n in line.split(":")[1:3]])


def test_one_slip_makes_no_second():
    """A broken entry is known by name: what refers to it, and what only it would use, is not told as wrong too."""
    text, place = spoil(("worn:\n", "name:", f"{HERE}nam:"))
    assert vetted(text) == [
        f"k.yaml:{place}: K104 unknown key 'nam'; did you mean 'name'?",
        f"k.yaml:{place}: K105 'name' is missing in 'worn'",
    ]


def test_a_long_way_inside_takes_no_time():
    """Trees are walked once, and no more than fifty nearest spellings are sought."""
    many = 5_000
    chain = "".join(f"  p{n}: {{name: p{n}, inside: p{n + 1}}}\n" for n in range(many))
    lost = "".join(f"  q{n}: {{name: q{n}, inside: z{n}z}}\n" for n in range(many))
    started = time.process_time()
    problems = vet(read({"a.yaml": f"parts:\n{chain}".encode(), "b.yaml": f"parts:\n{lost}".encode()}))
    assert time.process_time() - started < 10
    found = [str(p) for p in problems if p.code == "K201"]
    assert len(found) == many + 1
    assert f"a.yaml:{many + 1}:{chain.splitlines()[-1].index('inside') + 1}: K201" in found[0]

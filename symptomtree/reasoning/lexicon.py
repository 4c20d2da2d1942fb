"""The words of riders: how a sentence falls into words, and which words are forms, doubles or kin of one another."""

import re
import unicodedata
from collections import defaultdict
from functools import lru_cache


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


NOT, CANNOT = "not", "cannot"
"""What every negation becomes: that something is not there, or that what should happen does not."""
NEGATIONS = frozenset((NOT, CANNOT))
_NOT = _set("not no never without dont doesnt isnt didnt")
_CANNOT = _set("cannot cant wont refuse refuses refused refusing unable")
_ABLE = _set("can could will would able")
NEGATION_ENDS = _set("but and except only until because when while if or though so")
"""Words that a negation does not reach past."""
CLAUSE_ENDS = NEGATION_ENDS | {".", ","}
CONDITIONS = _set("when while until if")
"""Those of them after which it may be the condition that is denied."""

WORK = _set(
    """
    adjusted bled changed cleaned fitted fixed greased installed lubed mended oiled repaired replaced serviced swapped
    tightened trued washed
    """
)
"""What someone did to the bike; so is what follows one of `WORK_AFTER` and one of `DOERS`: "since I put ... on"."""
WORK_AFTER, DOERS = _set("since after"), _set("i we he she they someone")
CLAUSE_STARTS = _set("a an the my his her its it this that something now i")
"""Words that begin something new once it was said what was worked on: "since I mended the puncture the display..."."""

# Words that carry little by themselves (grammar), and words that carry less than their rarity says.
_SMALL = _set(
    """
    a am an and any are as at be been but by can could did do does for from get gets go goes going gone got had has
    have he her his how i if in into is it its just like me mine my myself now of on or our out put so some than that
    the their them then there these they thing this those to too up us very was we went were what when where which
    while who will with would you your bike bicycle make made really still yes seem cannot
    """
)
_LIGHT = _set(
    """
    after again all along always before both bit day done each end every few fine first fitted good little long more
    new next nothing off ok old once one only other own part ride side since something then three through time turn
    two way well worse year
    """
)
# After these, or before those, "back" is a direction and not the rear end: a back brake is no back-pedal brake.
_BACK_AFTER = _set("come comes came coming go goes went get gets got put puts spring springs bend bent push")
_BACK_BEFORE = _set("again down in into on onto out to up when pedal pedals pedalled pedalling pedaling")
# Words that riders also write as two.
_HALVES = (
    "chain-ring chain-set chain-stay free-wheel handle-bar head-set kick-stand lock-out mud-guard second-hand seat-post"
)
_GAP = re.compile("|".join(r"[ -](?<=\b{}.)(?={}s?\b)".format(*word.split("-")) for word in _HALVES.split()))
_IN_VAIN = re.compile(r"\bnot help(s|ed)?\b")
"""Says that a remedy did nothing, and nothing of the help that a motor gives."""
# Different words of the trade and of riders for one and the same thing.
_SAME = {
    word: group[0]
    for group in (
        ("rear", "back", "behind", "hind"),
        ("bar", "handlebar", "handlebars", "grip"),
        ("sprocket", "cog", "cogs", "sprockets"),
        ("mech", "derailleur", "derailer", "derailleurs", "mechs"),
        ("ring", "chainring", "chainwheel", "chainrings", "rings"),
        ("cassette", "freewheel", "block"),
        ("disc", "disk", "rotor"),
        ("coast", "freewheeling", "coasting", "freewheel"),
        ("tyre", "tire", "tyres", "tires"),
        ("noise", "sound", "noises", "sounds"),
        ("fall", "fell", "fallen"),
        ("come", "came"),
    )
    for word in group
}
_WHOLE = _set("dropper droppers")
"""Names of parts that are not the doer of what they are named after: a dropper is not something that dropped."""
# Words that mean nearly the same, or that riders use for one another.
_FAMILIES = (
    "squeak squeal chirp tweet peep whistle",
    "howl honk screech shriek scream wail trumpet",
    "squeal howl screech shriek",
    "click tick clack tap snap",
    "clunk knock bang clonk thud thump",
    "click tick clunk knock bang pop clack",
    "rattle chatter clatter buzz",
    "creak crack groan",
    "crack pop snap",
    "grind gritty grating scrape crunch rough gravel sand",
    "hum drone whirr growl roar rumble",
    "rub drag touch scrape brush",
    "skip slip jump hop lurch hiccup",
    "spongy soft squishy mushy springy",
    "shake shudder judder vibrate wobble shimmy",
    "loose wobble rock play",
    "wander weave sway swim wag",
    "stuck jam seize lock close",
    "slow late hesitate sluggish lazy vague sloppy",
    "stiff heavy hard",
    "big biggest large larger bigger",
    "small smallest smaller little inner",
    "fall drop come",
    "hit touch reach",
    "pedal crank feet",
    "climb hill uphill sprint load press stamp push",
    "change shift",
    "weak feeble poor",
    "strength power",
    "dead dark dies",
    "quits stops cuts",
    "quits gives",
    "help assist assistance support",
    "motor engine",
    "saddle seat",
    "hurt pain ache sore",
    "leak drip weep",
    "quiet silent",
    "break broke broken snap crack",
    "bent buckled warped",
    "harsh hard rough",
    "sink sag",
    "collapse burst explode blow",
    "steer turn",
)


def split(text: str) -> list[str]:
    """Return the words of a text in lower case; negations become `NOT`, breaks stay as '.' and ','."""
    plain = unicodedata.normalize("NFKD", text).lower().replace("\u2019", "'")
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = re.sub(r"\b(wo|ca|sha)n't\b", r"will not", plain)
    plain = re.sub(r"n't\b", " not", plain).replace("'s ", " ").replace("'", "")
    plain = _IN_VAIN.sub("", _GAP.sub("", plain)).replace("backpedal", "back pedal")
    found = re.findall(r"[a-z0-9]+|[.;:!?,\n]", plain)
    for n, word in enumerate(found):
        before, after = found[n - 1] if n else "", found[n + 1] if n + 1 < len(found) else ""
        if word == "back" and (before in _BACK_AFTER or after in _BACK_BEFORE):
            found[n] = "backwards"
    return [_plain(word, before) for before, word in zip(["", *found], found, strict=False)]


def _plain(word: str, before: str) -> str:
    """Return a word, or what a negation or a break becomes."""
    if word in _CANNOT or (word in _NOT and before in _ABLE):
        return CANNOT
    if word in _NOT:
        return NOT
    return word if word.isalnum() or word == "," else "."


@lru_cache(maxsize=20_000)
def stem(word: str) -> str:
    """Return a word without its endings, so that 'braking', 'brakes' and 'brake' are one."""
    word = _SAME.get(word, word)
    if word in _WHOLE:
        return word.removesuffix("s")
    if word in NEGATIONS or len(word) < 4 or word.isdigit():
        return word
    for ending in ("iest", "est", "ing", "ier", "ies", "ied", "ed", "es", "er", "ly", "s", "y", "e"):
        if word.endswith(ending) and len(word) - len(ending) >= (4 if ending == "er" else 3) and word[-2:] != "ss":
            word = word[: -len(ending)]
            break
    word = word.removesuffix("e") if len(word) > 3 else word
    if len(word) > 3 and word[-1] == word[-2]:
        word = word[:-1]
    return _SAME.get(word, word)


@lru_cache(maxsize=1)
def small() -> frozenset[str]:
    """Return the stems of words that carry nothing by themselves."""
    return frozenset(stem(w) for w in _SMALL)


@lru_cache(maxsize=1)
def light() -> frozenset[str]:
    """Return the stems of words that carry less than their rarity says."""
    return frozenset(stem(w) for w in _LIGHT)


@lru_cache(maxsize=1)
def kin() -> dict[str, frozenset[str]]:
    """Return stem -> the other stems of its families."""
    out: dict[str, set[str]] = defaultdict(set)
    for family in _FAMILIES:
        stems = {stem(w) for w in family.split()}
        for one in stems:
            out[one] |= stems - {one}
    return {one: frozenset(others) for one, others in out.items()}


def bones(word: str) -> str:
    """Return the consonants of a word."""
    return re.sub(r"[aeiouy]|(.)(?=\1)", "", word)

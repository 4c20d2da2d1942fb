"""Riders' sentences made up for measuring, none of which may be written into the knowledge or tuned for.

Each names the symptoms any of which is right, and where it tells one, a fact. They were written before the matcher was
improved, from the names of the symptoms.
"""

HELD_OUT = (
    # brakes
    ("my frunt brake shreiks everytime i stop at the lights", "brake-noise", ""),
    (
        "when i squeeze hard the lever touches the handle bar and hardly anything happens",
        "lever-travel stopping-power",
        "",
    ),
    ("the brake leaver feels like squeezing a wet sponge", "lever-spongy", ""),
    ("no squeal, but it grates like two bits of metal when I slow down", "brake-grinding", ""),
    ("after i fitted new brake pads the wheel hardly turns", "brake-drag", "pads-just-changed=yes"),
    ("the disc goes shing shing shing even when I am not touching the brakes", "brake-rub", ""),
    ("whole fork shakes when i pull the front brake", "brake-judder", ""),
    ("I let go of the lever and it just stays there against the bar", "lever-return", ""),
    ("my coaster brake only bites after pedaling half a turn backwards", "back-pedal-late", ""),
    ("i could not stop at the bottom of the hill, brakes are really weak", "stopping-power", ""),
    ("takes two hands to pull the brake lever", "lever-heavy", ""),
    ("the wheel grabs and lets go, grabs and lets go as I slow down", "brake-pulse", ""),
    # cranks, pedals, cleats
    ("it does not click when coasting, only when I pedal", "click-pedalling", ""),
    ("horrible creeking from down by my feet when climbing", "creak-pedalling", ""),
    ("my left pedel feels wobbly under the shoe", "foot-wobble", ""),
    ("my shoe wont click into the pedal any more", "foot-wont-click-in", ""),
    ("cant twist my foot out of the pedals and fell over at the lights", "foot-stays-locked", ""),
    ("my foot keeps unclipping by itself when I sprint", "foot-pops-out", ""),
    # drivetrain
    ("since i put a new chain on it jumps whenever i push hard", "skips", "new-chain=yes"),
    ("cain keeps comming off the front ring", "drops-at-front-single drops-inside-rings drops-outside-rings", ""),
    ("it wont go up into the bigest cog at the back", "wont-reach-biggest slow-to-bigger", ""),
    ("gears change on there own when i stand up", "ghost-shift", ""),
    ("click the shifter and nothing happens for three seconds then it drops to a smaller cog", "slow-to-smaller", ""),
    ("the chane goes in between the spokes and the casette", "drops-into-spokes", ""),
    ("squeeks like a mouse while pedalling and goes quiet when i coast", "squeak-pedalling", ""),
    ("i pedal and pedal and nothing happens, bike does not move", "no-drive", ""),
    ("pedalling feels like there is sand in the chain", "grind-pedalling", ""),
    ("chain rubs on the front derailler in almost every gear", "front-cage-rub", ""),
    ("the shifter just flops about without clicking", "shift-lever-dead", ""),
    ("my chain snapped on the way home", "chain-came-apart", ""),
    ("chain whacks the frame on rough tracks", "chain-slap", ""),
    ("front gears refuse to move up to the large chainring", "front-slow-to-bigger", ""),
    # electric
    ("the motor gives up halfway up every hill and then comes back", "assist-cuts-out", ""),
    ("ebike is dead, pressing the on button does nothing", "electric-dead buttons-dead", ""),
    ("the display shows a warning and there is no help", "drive-error assist-none", ""),
    ("i used to get forty miles from the battery and now only fifteen", "range-short", ""),
    ("battery does not charge even though the charger light is on", "will-not-charge", ""),
    ("it keeps pushing for a second after I stop pedalling", "motor-runs-on", ""),
    # fit
    ("my hands go to sleep after twenty minutes", "hands-go-numb", ""),
    (
        "hurts at the front of my knee since i lowered the seat",
        "knee-front-hurts sore-since-seat",
        "position-changed=yes",
    ),
    # frame, mudguards
    ("there is a crack in the paint near the head tube", "crack-frame-seen", ""),
    ("mudgaurd scrapes on the tyre after washing the bike", "guard-rub", ""),
    ("something rattles on cobbles and I cannot find what", "bike-rattle", ""),
    # hub gear, belt, one gear
    ("third gear in my hub has gone, it just spins", "hub-gear-missing no-drive", ""),
    ("my belt drive chirps on dry days", "belt-squeaks", ""),
    ("belt slips over the teeth when I set off", "belt-jumps", ""),
    # seat
    ("the sadle slowly slides down while riding", "saddle-sinks", ""),
    ("seat post is stuck fast and will not budge", "post-stuck", ""),
    ("dropper wont pop back up when I press the button", "dropper-rises", ""),
    ("saddle nose keeps tipping down", "saddle-tilts", ""),
    # steering
    ("there is a knock at the headset when i brake and rock it", "front-knock", ""),
    ("handlebars don't line up with the wheel since I came off", "bar-not-straight", "just-crashed=yes"),
    ("bike starts shaking violently at forty downhill", "speed-wobble", ""),
    ("steering has a notch in the middle", "steering-notch", ""),
    # suspension
    ("fork has gone down by itself over the week", "loses-air sits-low", ""),
    ("oil all down the fork leg after the last ride", "oil-seen", ""),
    ("rear shock slams to the end on small drops", "bottoms-out", ""),
    ("the lock out switch doesn't do anything", "lockout-dead", ""),
    ("fork no longer soaks up small bumps since I had it serviced", "harsh-small", "suspension-serviced=yes"),
    # wheels
    ("tire is soft again this morning, pumped it last night", "air-loss", ""),
    ("back weel wobbles from side to side", "wheel-sways", ""),
    ("growling sound only when coasting, gets louder the faster i go", "rumble-rolling", ""),
    ("two spokes snapped last week", "broken-spoke-seen", ""),
    ("thump every time the wheel goes round after I fitted a new tyre", "bump-each-turn", "tyre-work-done=yes"),
    ("there's a lump sticking out of the side of my tyre", "tyre-bulge-seen", ""),
    (
        "a ticking that keeps going when I stop pedalling and gets quicker with speed",
        "tick-rolling ticks-when-coasting",
        "",
    ),
)

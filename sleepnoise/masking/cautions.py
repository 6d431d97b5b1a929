"""What has to be said beside every proposal of a masking sound, and who found it."""

from sleepnoise.acoustics.source import Source

RIEDY_2021 = Source(
    document="Riedy et al. 2021, Sleep Medicine Reviews 55:101385", place="abstract", how_known="looked-up"
)
CAPEZUTI_2022 = Source(
    document="Capezuti et al. 2022, J. Clin. Sleep Med. 18:1697-1709", place="abstract", how_known="looked-up"
)
BASNER_2026 = Source(
    document="Basner et al. 2026, SLEEP", place="abstract as quoted elsewhere", how_known="looked-up"
)
WHO_1999 = Source(
    document="WHO, Guidelines for Community Noise, 1999", place="inside bedrooms", how_known="looked-up"
)
HUGH_2014 = Source(
    document="Hugh et al. 2014, Pediatrics 133(4)", place="as summarised elsewhere", how_known="looked-up"
)
NFPA_72 = Source(document="NFPA 72", place="sleeping areas, as quoted elsewhere", how_known="looked-up")
NOBER_1980 = Source(
    document="Nober et al. 1980, NBS GCR 80-284",
    place="alarms against air-conditioner noise",
    how_known="looked-up",
)

MASKER_CAUTIONS = (
    "Steady masking sound is a last resort, after what keeps noise out. The evidence that it helps sleep "
    "is weak: a review of 38 studies rates it as very low and warns of harm to sleep and hearing "
    f"[{RIEDY_2021}]; a review of 34 studies finds no strong evidence either [{CAPEZUTI_2022}].",
    "In a laboratory, pink noise of 50 dB(A) cost about 19 minutes of REM sleep, and added to intermittent "
    f"noise it made the structure of sleep worse; earplugs helped nearly throughout [{BASNER_2026}].",
    "A masker is noise itself: it counts in every level measured at night. Above 30 dB(A) it alone exceeds "
    f"the bedroom value of LAeq 30 dB over 8 h [{WHO_1999}]. Aim at 35 dB(A) or less at the pillow.",
    "Infants and toddlers: plan no masker. Where a carer decides otherwise, never above 50 dB(A) at the "
    f"child, the device more than 2 m away, as quiet and as short as possible [{HUGH_2014}].",
    "A masker, and every decibel gained at a door, can hide a smoke or carbon monoxide alarm, a child, a "
    "telephone or an intruder. Check each alarm at the pillow with the door shut and the masker on; a "
    f"common rule asks for 75 dB(A) there, 15 dB over everything else [{NFPA_72}]. Some sleepers slept "
    f"through 55 dB(A) of alarm in air-conditioner noise [{NOBER_1980}]. An interlinked alarm inside the "
    "bedroom is the usual cure.",
    "Stop if sleep gets worse. With tinnitus, hyperacusis or a sleep disorder ask a clinician first. This "
    "is not medical advice.",
    "The plan takes the masker's spectrum for real at the pillow. Small loudspeakers give next to nothing "
    "below about 100 Hz, so rumble can rarely be masked: measure band by band, with the sleeper absent.",
)
"""Said with every plan that weighs a masker, sources in brackets."""

"""The words of the page, for a reader without statistics."""

GLOSSARY = (
    (
        "Strip",
        "One treatment's stretch of the field, harvested as a whole. It counts once, however many records it holds.",
    ),
    ("Pair or block", "Neighbouring strips, one of each treatment, so that all of them stand on like ground."),
    ("Control", "What the treatments are compared with: usual practice."),
    (
        "Standard moisture",
        "The moisture at which yields are compared, so that wetter grain does not pass for more grain.",
    ),
    ("Travel delay", "The seconds between cutting and weighing. Each record is moved back by that much."),
    (
        "Margin of error (confidence interval)",
        "The range of true differences that fit this trial. Ranges made this way hold the true difference as often as "
        "their confidence says: at 90 %, 9 times in 10.",
    ),
    (
        "p-value",
        "How often a treatment that does nothing would still show a difference this large: 0.05 is 1 time in 20.",
    ),
    (
        "Exact p",
        "The same, counted by swapping the labels of the strips in every way the design allows. Few strips leave few "
        "ways to swap, so it cannot fall below a floor.",
    ),
    (
        "Smallest difference it could find",
        "A true difference of this size shows up in four trials out of five of this design and scatter, unless another "
        "power was set.",
    ),
    (
        "LSD, least significant difference",
        "Two means further apart than this differ by more than chance, in a comparison decided on beforehand.",
    ),
    (
        "CV, coefficient of variation",
        "Scatter left between strips of one treatment, as a share of the mean.",
    ),
    (
        "Chance that it pays",
        "How likely the true difference is above the one that pays, taking this trial together with how large such "
        "differences usually are. “The statistics” says what was taken for granted.",
    ),
    (
        "Standard error",
        "How far the measured difference would scatter were the trial done again on the same ground.",
    ),
    (
        "Sensor response",
        "How much the reading grows where the flow of grain grows. At 1.00 in step with it; below that, the monitor "
        "shows differences too small.",
    ),
    ("Break-even", "The area harvested a year on which the gain just covers the outlay."),
)

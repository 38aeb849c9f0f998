"""What the test vectors hold: schemas, and for each what to send, and what nobody may accept.

`tools/vectors.py` turns this into spec/vectors/*.json with the reference codec.
"""

from vector_cases import repair, sealed
from vector_cases.frames import BY_CHECK, CARRIER, EMPTY, ODD, WIDEST
from vector_cases.groups import LISTS, OPTIONAL
from vector_cases.names import NAMED, SPECIES
from vector_cases.numbers import INTEGERS, QUANTITIES
from vector_cases.times import TIMES

FILES = (
    *(INTEGERS, QUANTITIES, NAMED, SPECIES, TIMES, OPTIONAL, LISTS),
    *(CARRIER, EMPTY, ODD, WIDEST, *BY_CHECK),
    *(*sealed.BY_SEAL, sealed.CARRIER, sealed.ODD, sealed.WIDEST),
    *(repair.REPAIR, repair.UNPROTECTED, repair.TINY, *sealed.BY_REPAIR),
)

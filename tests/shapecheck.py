"""The checker of annotated types and shapes while tests run: whole numbers count as floats."""

from beartype import BeartypeConf, beartype

checker = beartype(conf=BeartypeConf(is_pep484_tower=True))

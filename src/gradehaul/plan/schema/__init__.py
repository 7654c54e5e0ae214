"""The tables of a plan file, as pydantic reads them."""

"""Validators of what commands print with --json."""

from __future__ import annotations

from functools import cache

from jsonschema import Draft202012Validator

from trackkit.schemas.read import output_schema


@cache
def validator(command: str) -> Draft202012Validator:
    """Make the validator of a command's documents."""
    schema = output_schema(command)
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)

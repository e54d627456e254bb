"""Judges plan files by the schema alone, as any program of another maker would.

The first line of the input is the schema, every further one a plan file, each as one JSON string. For each plan file one
line goes out: `accepts`, `refuses` with the place that is wrong, or `no TOML`.
"""

import datetime
import json
import sys
import tomllib

from jsonschema import Draft202012Validator, FormatChecker

schema = json.loads(json.loads(sys.stdin.readline()))
Draft202012Validator.check_schema(schema)
formats = FormatChecker()


@formats.checks("date", ValueError)
def is_date(text):
    return not isinstance(text, str) or datetime.date.fromisoformat(text) is not None


validator = Draft202012Validator(schema, format_checker=formats)
for line in sys.stdin:
    try:
        plan = tomllib.loads(json.loads(line))
    except tomllib.TOMLDecodeError:
        print("no TOML")
        continue
    error = next(validator.iter_errors(plan), None)
    print("accepts" if error is None else "refuses " + error.json_path)

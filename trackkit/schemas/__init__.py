"""What ``--json`` of each command prints, as JSON Schemas."""

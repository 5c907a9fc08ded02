"""An invented fleet, for measuring: many rigs, years of sealed tests, written in bulk (`manage.py make_fleet`)."""

"""The version of this program, as it is shown and written into what it makes."""

VERSION = "0.1.0"

"""The version of this program, as it is shown, built and written into what it makes: told here and nowhere else."""

VERSION = "0.2.0"

"""Tests of quietcool; a package, so that no installed package of the name `tests` can stand in its place."""

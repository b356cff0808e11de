"""Checks of whole pump histories: each rule is one function, all are listed in `book`."""

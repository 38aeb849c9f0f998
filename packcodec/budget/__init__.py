"""A day's messages against a link: sizes, a verdict a rule, the battery, what would make it fit."""

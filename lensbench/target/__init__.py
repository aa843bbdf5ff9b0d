"""The set-square target: where every corner lies, how it is printed, how it is found again in a shot."""

"""What a verdict says where its evidence doesn't tell."""

UNTOLD = "can't tell"
"""The answer, the owner of a lean, the surface under a mark: wherever the shots leave it open."""

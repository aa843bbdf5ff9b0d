"""Misleading shots, each cause at four strengths: is a wrong figure ever stated without a word on why?

Run by hand: ``python -m tests.bench.gauntlet [CAUSE …]``. See `__main__` for the options.

Last seen, one shot a strength, by rising strength (r right, w warned, x refused, h cannot be revealed; no row of
these is WRONG; of 100 clean shots none is accused, and none has a figure off by more than three half-widths)::

    double-image-turned  x x x x    sheet-shadow        r r r w    softened          r h w w
    triple-image         w w w x    refocused           r w w w    sharpened-raw     h h w w
    motion               r w w w    black-too-low       w w w h    thresholded       r r w w
    motion-down          r w w w    black-too-high      h w w w    hot-columns       w w w w
    flicker-500-rows     w w w w    gamma               h w w w    hot-pixels        r r w w
    flicker-square       w w w w    gamma-of-two        h h w w    rulers-both       w w w w
    flicker-columns      w w w w    gamma-darker        h w w w    ruler-one         r w w x
    hairs                r r r r    s-curve, -of-two    w w w w    stored-twice      w w w
    red-for-blue         h h h h    falloff-corrected   h w w w    motion-curved     r

The strengths are those of the causes' own lists. Causes that aren't named here were not run again since edges'
intervals count what pulls pieces apart.
"""

"""What drawings, tables and sentences share: units, the channel shown, figures by zone, common scales.

In: a report or a part of it. Out: figures, names and plain numbers. For the reporter's own rooms only.
"""

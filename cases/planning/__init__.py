"""The arithmetic of a case: pure functions over NumPy arrays, no database and no other room.

From a predicted size to chances per size (`sizing`), slots joined by fit rules (`fit`), what one case finds
(`coverage`), what to bring (`picking`), what a list or a fortnight of cases shares (`sharing`, on `tracks`),
and how much to keep (`replenish`). `kinds` holds what goes in and what comes out.
"""

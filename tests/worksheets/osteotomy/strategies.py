"""What hypothesis draws for the upper femur: everything a case file may hold."""

from __future__ import annotations

from hypothesis import strategies as st

from pathway.worksheets.osteotomy.frames import NeckAngles

sides = st.sampled_from(["left", "right"])
neck_shaft = st.floats(20, 179)
versions = st.floats(-80, 80)
necks = st.builds(NeckAngles, neck_shaft, versions)
turns = st.floats(-90, 90)

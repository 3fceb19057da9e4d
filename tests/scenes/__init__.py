"""Rendered photos of made-up tops with exact truth, for tests and studies. Nothing here is a photograph.

Written without a line of `seamcheck`, so that no mistake is shared and cancels. `draw` says what is drawn from which ranges,
`geometry` what is true, `woods`, `light` and `render` how it is seen.

Frame: inches on the top, x right, y up, z toward the camera, z = 0 the field's face. Bearings are clockwise from +y.
"""

; lower case, no blanks, CR LF, relative filament; written by hand
g21
g90
m83
m104s205t0
g28x y
g1z.3f600
g0x0y0f9000
g1x20y0e.65f1800
g1x+20.0y20e+.65
g1x0y20e.65 ; été
g1x0y0e.65
g92e0
g1e-.8f2400
g1z.6
g1e.8
m117 Layer 2 of 2 X15
m204p900t1200
g1x20y0e.65f1800
g1x20y20e.65
g1x0y20f{slow}e.65
g1x0y0e.65
SET_LAMP name=harbour value=1
@pause for the picture
m73.2p50
t255
m400
m84x y e
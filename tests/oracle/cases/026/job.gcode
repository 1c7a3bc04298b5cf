M83
g0 X0.00135 Y0.00000 F4800
G0 Z0.40000 F600
G1 F3000
G1 X-0.23576 Y-0.94817 E0.03909
G1 X-0.26657 Y-0.97396 E0.00161
G20
G1 F100
G1 X0.19975 Y-0.15612 E0.00964
M117 hello there
M105
G1 X0.18157 Y-0.15612 E0.00180
G1 X0.18076 Y-0.15450 E0.00007
G1 X0.17997 Y-0.15479
G1 X0.19163 Y-0.14437 E0.00063
G1 X0.15841 Y-0.14283 E0.00133 F3000
G0 Z0.02362 F600
G1 F3000
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
G1 X0.15794 Y-0.14128 E0.00006
G0 X0.15978 Y-0.14455
M117 hello there
M220 S100
g0 X0.15401 Y-0.14396
G1 X0.15430 Y-0.14456 E0.00003
M117 hello there
G1 X0.14134 Y-0.14007 E0.00055
G1 X0.08468 Y-0.23265 E0.00434
; a remark
G1 X0.08504 Y-0.23093 E0.00007
G1 X0.10447 Y-0.24182 E0.00089
M205 X5 Y6 Z0.3 E2 J0.02
G1 X0.10423 Y-0.24144 E0.00002
M109 S205
G1 X0.11212 Y-0.23722 E0.00036

M105
G1 X0.14457 Y-0.22519 E0.00138 F3000
; a remark
G0 Z0.03150 F600
G1 F3000
G1 E0.03150
G0 Z0.03937 F600
G1 F3000
G1 X0.26474 Y-0.25333
G1 X0.20863 Y-0.28900 E0.00266

G1 X0.20954 Y-0.28989 E0.00005
M117 hello there
G1 X0.21635 Y-0.29181 E0.00028
G1 X0.21601 Y-0.29116 E0.00003
G1 X0.21474 Y-0.28738 E0.00016 F3000
G1 E0.03150
M220 S0
G1 X0.21520 Y-0.28771 E0.00002
G0 X0.21458 Y-0.28548 F4800
G0 Z0.04724 F600
G1 F3000
G1 X0.16813 Y-0.13676
G1 X0.14924 Y-0.14414
G1 E-0.03150
G91
G1 X-0.48589 Y-0.27630 E0.02236
G1 X0.00092 Y-0.00013 E0.00004 F4800
G1 X-0.00573 Y0.00260 E0.00025 F1500
g0 X0.00048 Y0.00059
M204 P800 T900 R700
G90
G0 Z0.05512 F600
G1 F3000
G0 Z0.06299 F600
G1 F3000
G1 X-0.33722 Y-0.41738 E0.00075
G0 Z0.07087 F600
G1 F3000
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
G1 X-0.34069 Y-0.41715 E0.00014
M205 X5 Y6 Z0.3 E2 J0.02
G1 X-0.34088 Y-0.42249 E0.00021
G1 X-0.39279 Y-0.44625 E0.00228
; a remark
G1 X-0.40843 Y-0.44625 E0.00111
G1 X-0.40729 Y-0.44632
M117 hello there
G1 X-0.67861 Y-0.27558 E0.01282
G1 X-0.70285 Y-0.27993 E0.00099
G1 X-0.69499 Y-0.28151 E0.00032
G0 Z0.07874 F600
G1 F3000
G4 P120
; end

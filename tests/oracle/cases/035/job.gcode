; start
M83
G1 E-0.80000
G28 Z
G1 X-12.64249 Y19.07015 E0.91521 F4800
G1 X11.99932 Y11.66694 E1.02920
G1 X36.34651 Y4.70837 E1.01288
G1 X26.61919 Y-3.10163 E0.49899


M204 P800 T900 R700
G1 X36.55016 Y10.15533 E0.66257
G0 Z0.40000 F600
G1 F3000
G1 X40.59545 Y-3.59702 E0.57340
g0 X34.41969 Y-2.59466
G1 X25.26777 Y21.99131 E1.04936
G1 X36.39153 Y7.72528 E0.72361
g0 X31.85760 Y-8.71529
G92 E0
G1 X20.67403 Y3.06296 E0.64968
G0 Z0.60000 F600
G1 F3000
g0 X23.29211 Y26.03327
G1 X40.52306 Y31.13651
G0 X45.78757 Y25.44215
G1 X31.86617 Y25.44215 E0.65265
G1 X28.47186 Y25.44215 E0.56441
G91
G1 X-1.04292 Y-4.59989 E0.18867
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
G1 X12.74341 Y0.00000 E0.96599
G1 X-2.14083 Y-5.09678 E0.22113
G1 X-9.91998 Y-7.33607 E0.49352
; end

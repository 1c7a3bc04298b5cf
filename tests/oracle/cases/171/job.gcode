M83
M117 hello there
G1 X-0.12873 Y0.04788 Z0.210 E0.00549
G1 X-1.12081 Y0.04788 E0.04048
G1 X1.46355 Y4.40689 E0.20270
G1 X1.53116 Y4.34510
G92 E0
G1 E0.80000
G1 X2.38494 Y4.34510 E0.24735
G1 X7.09450 Y3.59794 E0.19074 F4800
G1 X7.14140 Y3.59794 E0.00362
G0 Z0.40000 F600
G1 F3000
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
G1 X6.89491 Y3.94955 E0.01718
G0 X6.81762 Y3.92432
G1 X6.84746 Y3.92432 E0.00123
G1 X8.15633 Y10.61753 Z0.600 E0.27280
G1 X9.40759 Y10.70041 E0.05016
G3 Z0.750 I-1.307741 J2.543551 E0.20423
G1 X17.36030 Y25.78601 E0.68214
G1 X15.78153 Y27.91086 E0.10589
G1 X16.04333 Y27.77262 E0.01184
G1 X15.70352 Y28.73933 E0.04099
G0 Z0.60000 F600
G1 F3000
G1 X11.75114 Y26.38150 E0.18409
G1 X11.22574 Y26.38150 E0.03038
G0 Z0.80000 F600
G1 F3000
G1 E0.30000
M201 X700 Y900
G3 I1.048282 J-0.823743 E0.28969
G0 X12.74625 Y26.60741
M221 S95
G1 X12.64380 Y26.50678 E0.00574
G1 X12.78735 Y26.61484 E0.00719
G1 X28.82862 Y37.73588 E0.78077
G1 X28.19443 Y36.63228 E0.05091
G1 X28.21281 Y36.64845 E0.00098
G1 X28.10732 Y37.03107 E0.01588
G1 X27.89131 Y37.15697 E0.01000
G0 Z1.00000 F600
G1 F3000
G3 X29.4286 Y38.1065 R1.8164
M204 P800 T900 R700
G1 X29.37076 Y38.13097 E0.00251
G1 X29.36944 Y38.14402 E0.00052
G1 E0.30000
G1 X29.32737 Y38.12501 E0.00185
G1 X29.28265 Y37.99588 E0.00547

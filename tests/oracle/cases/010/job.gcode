M83 ; filament relative
G91
g0 X-0.12447 Y-0.26796
G1 X-0.22100 Y0.31415 E0.01536
G1 X0.33921 Y-0.26835 E0.01730 F4800
G1 X-0.02712 Y-0.00720 E0.00112
g0 X-0.00960 Y0.01327 F4800
G1 X0.01726 Y-0.06952 E0.00287
g0 X-8.60686 Y-4.40714
G4 P0
G0 X-0.04216 Y-0.07669
G92 E0
G1 X9.77139 Y-11.34339 E0.59887
G1 X3.82480 Y0.18634 E0.15317
; a remark
M109 S205
M105
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
G1 X-5.58598 Y0.00000 E0.26174
M117 hello there
G92 E0
G1 X-0.00694 Y-0.11538 E0.00462
G0 X-0.03862 Y-0.01874 F600
G1 X0.09458 Y-0.72066 E0.02907
G0 X0.02015 Y0.03078 F3000
; a remark
G1 X-1.65395 Y-1.36573 E0.08580
M109 S205
g0 X-4.39315 Y-5.31406
g0 X-0.04782 Y0.00000
M203 X90 E20
G0 X14.07507 Y-5.46098
G1 X0.01982 Y-0.00512 E0.00082
G1 X-7.19746 Y-6.73697 E0.39434
G1 X-0.32533 Y-0.17085 E0.01470
G90
G92 X-0.11816 Y-35.80422
G0 Z0.40000 F600
G1 F3000
G0 X-1.66678 Y-46.44294
G1 X-1.84761 Y-46.49552 E0.00753
G1 X-1.86111 Y-46.49552 E0.00155
G1 X-2.63845 Y-46.27112 E0.03236
G91
G1 E0.80000
G0 X0.02308 Y0.01780
G1 X-1.50273 Y-1.68065 E0.09018
G0 X-0.08330 Y-0.15007
G90
G0 Z0.60000 F600
G1 F3000
G1 X-4.24034 Y-48.08567 E0.00156
g0 X-2.47487 Y-62.79986
G3 I-0.684911 J-0.238285 E0.06209
M221 S95
G1 X-4.26400 Y-62.79986 E0.42440 F3000
G1 X-3.55331 Y-60.91804 E0.08046
G1 X-3.37164 Y-60.96527 E0.00751
M400
G4 P50
G1 X-3.39900 Y-60.94094 E0.00146
G1 X-3.32489 Y-61.38666 E0.01807
G1 X-3.34455 Y-61.38190 E0.00081
G1 X-3.16096 Y-61.21817 E0.00984 F9000
G0 Z0.80000 F600
G1 F3000
G1 X-3.14468 Y-61.19001 E0.00130
G20
G1 F100
G1 X-0.11840 Y-2.39682 E0.00053
G4 P120
G4 P50
G92 E0
; a remark
G1 X-0.12248 Y-2.40552 E0.00038 F1500
G1 E-0.03150
g0 X-0.12649 Y-2.40352
G1 X-0.11373 Y-2.39753 E0.00056
G1 X-0.05908 Y-2.30960 E0.00414
; a remark
G1 X-0.08411 Y-2.97178 E0.02651
G1 X-0.08560 Y-2.97100 E0.00007
M106 S128
G1 X-0.08583 Y-2.97154 E0.00002
G1 X-0.16649 Y-3.32586 E0.01454
G1 X-0.17638 Y-3.31603 E0.00056
M106 S128
G1 X-0.17212 Y-3.31117 E0.00026
G0 Z0.03937 F600
G1 F3000
G1 X-0.14968 Y-3.27404 E0.00174 F4800
G1 X-0.45826 Y-3.15577 E0.01322

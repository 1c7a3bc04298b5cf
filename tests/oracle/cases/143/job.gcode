M83 ; filament relative
G1 X15.70376 Y0.13723 E0.62817
G1 X15.68649 Y0.12030 E0.00097
G20
G1 F100
M106 S128
G1 X0.88835 Y-0.46781 E0.02178 F3000
G1 X0.88367 Y-0.46631 E0.00020
G0 Z0.01575 F600
G1 F3000
G1 X0.88192 Y-0.46631 E0.00024
G1 X0.88359 Y-0.45512
G1 E0.03150 F3000
M203 X90 E20
G1 X0.82629 Y-0.46972 E0.00237
G1 X0.82469 Y-0.47041 E0.00007
G1 X1.05962 Y-0.47041 E0.00994
g0 X1.05819 Y-0.47169
G1 X1.05598 Y-0.47065 E0.00010
G0 Z0.02362 F600
G1 F3000
G1 X1.07091 Y-0.83803 E0.01471 F3000
G1 E0.03150
G1 X1.06753 Y-0.83457 E0.00019
M400
M400
G0 X1.10841 Y-0.93310
; a remark
G1 X0.95219 Y-0.65573 E0.01273 F4800
G0 X0.94285 Y-0.88311
G1 X0.90909 Y-1.08316
; a remark
M106 S128
G1 X0.90911 Y-1.08816 E0.00020
G1 X0.89774 Y-1.09280 E0.00049
G1 X0.89779 Y-1.09280 E0.00034
G0 X0.89748 Y-1.09359
G1 X0.90156 Y-1.09024 E0.00021
G1 X0.90336 Y-1.09183 E0.00010
M106 S128
G1 X0.93981 Y-1.01551 E0.00338
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
M106 S128

G1 X0.96163 Y-0.99591
G0 X0.95777 Y-0.99658 Z0.024
G1 X0.94810 Y-0.99682 E0.00039
G1 X0.62072 Y-0.90735 E0.01358
G1 X0.62149 Y-0.90773
G1 X0.61781 Y-0.90405 E0.00021
G4 P0
M400
G1 X0.61579 Y-0.90473 E0.00009
G1 X0.58937 Y-0.90473 E0.00112
G1 X0.27409 Y-0.79856 E0.01331
M203 X90 E20
M205 X5 Y6 Z0.3 E2 J0.02
G1 X0.59800 Y-1.46285 E0.02956
M117 hello there
G1 X0.58632 Y-1.45971 E0.00048
G1 X0.78477 Y-1.45971 E0.00858
M205 X5 Y6 Z0.3 E2 J0.02
G1 X0.78391 Y-1.45844 E0.00006
G1 X0.78305 Y-1.46034 E0.00008
G1 X0.78265 Y-1.45918 E0.00005
G1 X0.78236 Y-1.45591
M204 S1200
G0 X0.78165 Y-1.45531
G1 X0.62472 Y-1.68014 E0.01097
G1 E0.01181
;xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx
G91

G1 X0.00036 Y0.00271 E0.00011
G1 X0.04706 Y0.05166 E0.00280
G1 X0.00126 Y0.00123 E0.00007
G1 X0.00384 Y-0.24362 E0.00975
G1 E0.01181
G1 X-0.07384 Y0.03254 E0.00323
G1 X0.00018 Y-0.00160 E0.00006 F9000
G1 X-0.38195 Y0.00000 E0.01529 F3000
G1 X-0.00212 Y-0.00542 E0.00023
G1 E-0.03150
G1 X0.01079 Y-0.01232 E0.00066
G1 X0.00085 Y0.00082 E0.00005 F1500
G1 X-0.00164 Y-0.00077 E0.00007
G1 X0.12091 Y-0.10028 E0.00628 F9000
G1 X-0.17099 Y-0.18836 E0.01018
G0 X-0.00042 Y0.00000
G92 E0
G1 E-0.03150
M105
G1 X-0.00106 Y0.00070 E0.00005
G1 X-0.00094 Y-0.00093 E0.00005 F600
G1 X0.05222 Y-0.00239 E0.00209
M205 X5 Y6 Z0.3 E2 J0.02
M106 S128
G1 X0.00036 Y0.00146
G1 E0.01181
G1 X0.59884 Y0.34098 E0.02756
G90
G0 Z0.03150 F600
G1 F3000
G1 X0.82850 Y-1.80471 E0.00004
G1 E0.01181
G1 X0.95377 Y-1.91250 E0.00661
G1 X0.95962 Y-1.89473 E0.00075
G1 X0.95308 Y-1.89938 E0.00032
G1 X0.89007 Y-2.13204 E0.00964
M106 S128
G4 S0.5
G1 X0.88701 Y-2.13151 E0.00012
G1 X0.74118 Y-2.68225 E0.02279
G1 X0.74094 Y-2.68190 E0.00002
G1 X0.82242 Y-2.26236
G1 X0.82213 Y-2.26273
G1 X0.82331 Y-2.25962 E0.00013
G1 X0.93648 Y-1.82728 E0.01788
G1 X0.66439 Y-1.56892 E0.01501
G1 E-0.03150
G0 X0.43117 Y-1.50145
; a remark
G1 X0.42797 Y-1.49770 E0.00020
G1 X0.43900 Y-1.49438 E0.00046
M220 S0
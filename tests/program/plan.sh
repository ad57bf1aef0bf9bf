# SPDX-License-Identifier: BSD-3-Clause
# Copyright (c) 2026 The Passel authors
#
# plan: every topic, and what it refuses.
. "$PROGRAM_TESTS/run.sh"

run passel plan scale 16 --stop 2.8 --speed 36mph
run passel plan scale 6 --rate 25 --shutter 172.8
run passel plan focus --lens 50mm --stop 8 --distance 4ft --scale 16
run passel plan focus --lens 50mm --stop 8 --distance 40m --blur 30um
run passel plan ranks 24 12 1 --distance 2m --lens 35mm
run passel plan background --lens 35mm --distance 3m --width 1.6m --height 1m
run passel plan background --lens 60mm --distance 3m --width 1.6m
run passel plan screen --width 3m --height 2m --distance 2.5m
run passel plan display --pitch 2.6mm --lens 50mm --distance 4m --focus 1.5m --stop 4
run passel plan display --pitch 1.2mm --lens 50mm --distance 4m
run passel plan flicker --mains 50 --display 60
run passel plan flicker --rate 150 --mains 60
run passel plan flicker --mains 50 --strobe 100
run passel plan flicker --mains 50 --strobe 10
run passel plan flicker --mains 60 --strobe 24
run passel plan scale 16 --distance 40ft
run passel plan scael 16
run passel plan scale
run passel plan scale 1:16
run passel plan focus --lens 50mm
run passel plan flicker --pitch 3mm
run passel plan focus --lens 50mm --stop 8 --distance 9cm
run passel plan scale 16 --shutter 400
run passel plan scale 16 --speed 36knots
run passel plan background --lens 35mm --distance far --width 2m

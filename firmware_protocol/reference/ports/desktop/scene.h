/* What the simulated sensors see: an arm raised and lowered under a hand that pushes.
 *
 * One repetition takes SCENE_PERIOD_S and comes again and again, from the start of streaming.
 * Frames are those of rig_desktop.toml: X forward, Y up, Z to the right; a right shoulder. */
#ifndef SCENE_H
#define SCENE_H

#include <stdint.h>

#define SCENE_PERIOD_S 22.0
#define SCENE_PUSH_N 40.0
#define SCENE_AZIMUTH_DEG 24.0  /* 0 straight back, + to lateral */
#define SCENE_SUPERIOR_DEG -3.0 /* + upward */
#define SCENE_TOP_DEG 80.0      /* highest elevation */
#define SCENE_PLANE_DEG 30.0    /* plane of elevation, 0 frontal, + forward */

/* Scales and rails; rig_desktop.toml says the same. */
#define SCENE_N_PER_COUNT 5.0e-5
#define SCENE_ACCEL_M_S2 1.2e-3
#define SCENE_GYRO_RAD_S 1.4e-4

/* Counts at a time since the start of streaming. */
void scene_bridge(double time_s, int32_t counts[3]);
void scene_imu(double time_s, int32_t counts[6]);

#endif

#include "scene.h"

#include <math.h>

#define DEG (3.14159265358979323846 / 180.0)
#define GRAVITY_M_S2 9.80665
#define SHELL_KG 0.3
#define FORCE_NOISE_N 0.03
#define ACCEL_NOISE_M_S2 0.02
#define GYRO_NOISE_RAD_S 0.001

typedef struct { double x, y, z; } vec;

static const vec shell_m = {-0.004, 0.012, 0.003};
static const vec imu_m = {0.018, -0.162, 0.011};

static vec sum(vec a, vec b) { return (vec){a.x + b.x, a.y + b.y, a.z + b.z}; }
static vec times(double k, vec a) { return (vec){k * a.x, k * a.y, k * a.z}; }
static double dot(vec a, vec b) { return a.x * b.x + a.y * b.y + a.z * b.z; }

static vec cross(vec a, vec b)
{
    return (vec){a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

/* The minimum-jerk movement from 0 to 1 (Flash & Hogan 1985, J Neurosci 5:1688), and its first
 * two derivatives by time. */
static vec smooth(double time_s, double from_s, double lasts_s)
{
    const double raw = (time_s - from_s) / lasts_s;
    const double p = raw < 0.0 ? 0.0 : raw > 1.0 ? 1.0 : raw;
    const double q = 1.0 - p;
    return (vec){p * p * p * (10.0 + p * (-15.0 + 6.0 * p)), 30.0 * p * p * q * q / lasts_s,
                 60.0 * p * q * (1.0 - 2.0 * p) / (lasts_s * lasts_s)};
}

/* Elevation, its speed and its acceleration. */
static vec elevation(double time_s)
{
    const vec up = smooth(time_s, 5.0, 6.0);
    const vec down = smooth(time_s, 12.0, 6.0);
    return times(SCENE_TOP_DEG * DEG, sum(up, times(-1.0, down)));
}

/* The hand comes before the raise and goes after the lower; it trembles a little. */
static double push_n(double time_s)
{
    const double on = smooth(time_s, 3.0, 1.0).x - smooth(time_s, 19.0, 1.0).x;
    const double tremble = 0.02 * sin(2.0 * 3.14159265 * 7.0 * time_s)
                           + 0.015 * sin(2.0 * 3.14159265 * 3.1 * time_s);
    return SCENE_PUSH_N * on * (1.0 + tremble);
}

/* The arm turns about one fixed axis, which base and humerus see alike. */
static vec axis(void)
{
    return (vec){-cos(SCENE_PLANE_DEG * DEG), 0.0, sin(SCENE_PLANE_DEG * DEG)};
}

/* A vector of the base as the humerus sees it: turned back (Rodrigues). */
static vec in_humerus(vec a, double angle)
{
    const vec u = axis();
    return sum(sum(times(cos(angle), a), times(-sin(angle), cross(u, a))),
               times((1.0 - cos(angle)) * dot(u, a), u));
}

/* Specific force at a point of the humerus, in its own frame. */
static vec specific_force(vec at_m, vec angle)
{
    const vec rate = times(angle.y, axis());
    const vec turning = cross(times(angle.z, axis()), at_m);
    const vec upward = in_humerus((vec){0.0, GRAVITY_M_S2, 0.0}, angle.x);
    return sum(upward, sum(turning, cross(rate, cross(rate, at_m))));
}

/* About normal, standard deviation 1: the same at every run. */
static double noise(void)
{
    static uint32_t state = 1u;
    double total = -6.0;
    for (int i = 0; i < 12; i++) {
        state = state * 1664525u + 1013904223u; /* Numerical Recipes, 2nd ed., 7.1 */
        total += (double)(state >> 8) / 16777216.0;
    }
    return total;
}

static int32_t to_counts(double value, double scale, double rail)
{
    const double counts = floor(value / scale + 0.5);
    return (int32_t)(counts < -rail ? -rail : counts > rail - 1.0 ? rail - 1.0 : counts);
}

void scene_bridge(double time_s, int32_t counts[3])
{
    time_s = fmod(time_s, SCENE_PERIOD_S);
    const vec angle = elevation(time_s);
    const double azimuth = SCENE_AZIMUTH_DEG * DEG;
    const double superior = SCENE_SUPERIOR_DEG * DEG;
    const vec direction = {-cos(superior) * cos(azimuth), sin(superior),
                           cos(superior) * sin(azimuth)};
    const vec hand = in_humerus(times(push_n(time_s), direction), angle.x);
    const vec f = sum(hand, times(-SHELL_KG, specific_force(shell_m, angle)));
    /* Into the cell, which is turned about the arm's own Z; it has drifted since calibration. */
    const double cell[3] = {0.6 * f.x + 0.8 * f.y + 0.05, -0.8 * f.x + 0.6 * f.y - 0.03, f.z};
    const double zero_counts[3] = {12000.0, -7000.0, 3000.0};
    for (int i = 0; i < 3; i++) {
        const double force_n = cell[i] + zero_counts[i] * SCENE_N_PER_COUNT;
        counts[i] = to_counts(force_n + FORCE_NOISE_N * noise(), SCENE_N_PER_COUNT, 8388608.0);
    }
}

void scene_imu(double time_s, int32_t counts[6])
{
    const vec angle = elevation(fmod(time_s, SCENE_PERIOD_S));
    const vec f = specific_force(imu_m, angle);
    const vec w = times(angle.y, axis());
    /* Its X points up the shaft, its Y to the right, its Z forward. */
    const double accel[3] = {f.y, f.z, f.x};
    const double gyro[3] = {w.y, w.z, w.x};
    for (int i = 0; i < 3; i++) {
        counts[i] = to_counts(accel[i] + ACCEL_NOISE_M_S2 * noise(), SCENE_ACCEL_M_S2, 32768.0);
        counts[3 + i] = to_counts(gyro[i] + GYRO_NOISE_RAD_S * noise(), SCENE_GYRO_RAD_S, 32768.0);
    }
}

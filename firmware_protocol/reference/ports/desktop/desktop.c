/* A rig as a process behind a pseudo-terminal (POSIX), with simulated sensors. */
#define _XOPEN_SOURCE 600

#include <fcntl.h>
#include <math.h>
#include <poll.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include "perpend_rig.h"
#include "scene.h"
#include "store.h"

#define MAX_RATE_HZ 1000.0f
#define MIN_RATE_HZ 10.0f
#define WAIT_MS 1

static perpend_rig rig;
static int line = -1;
static double speed = 1.0;
static uint32_t first_tick;
static const char *store_path; /* null: none */
static struct timespec switched_on;
static double scene_from_us;
static struct { double begun_us, ended_us, rate_hz; uint64_t taken, limit; } sampling[2];
static volatile sig_atomic_t ended;

static const perpend_channel force_channels[] = {
    {{2, "fx"}, {5, "count"}, 1.0f, -8388608, 8388607},
    {{2, "fy"}, {5, "count"}, 1.0f, -8388608, 8388607},
    {{2, "fz"}, {5, "count"}, 1.0f, -8388608, 8388607}};
#define ACCEL(name) {{2, name}, {4, "m/s2"}, (float)SCENE_ACCEL_M_S2, -32768, 32767}
#define GYRO(name) {{2, name}, {5, "rad/s"}, (float)SCENE_GYRO_RAD_S, -32768, 32767}
static const perpend_channel imu_channels[] = {ACCEL("ax"), ACCEL("ay"), ACCEL("az"),
                                               GYRO("gx"),  GYRO("gy"),  GYRO("gz")};
static const perpend_stream streams[] = {
    {1, {5, "force"}, PERPEND_INT32, 1000.0f, 3, force_channels},
    {2, {3, "imu"}, PERPEND_INT16, 500.0f, 6, imu_channels}};
static const perpend_description about = {"reference desktop 1", "D01", 2, streams};

/* ---- the port ---- */

static double simulated_us(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return speed * ((double)(now.tv_sec - switched_on.tv_sec) * 1e6
                    + (double)(now.tv_nsec - switched_on.tv_nsec) * 1e-3);
}

static uint32_t tick_of(double us) { return (uint32_t)((uint64_t)us + first_tick); }

const perpend_description *perpend_port_description(void) { return &about; }
uint32_t perpend_port_micros(void) { return tick_of(simulated_us()); }
bool perpend_port_zero(uint8_t stream) { (void)stream; return false; } /* no amplifiers */

uint32_t perpend_port_boot_count(void) { return store_boot_count(); }

bool perpend_port_self_test(char *detail)
{
    if (!store_works()) {
        perpend_copy_text(detail, PERPEND_DETAIL, "store cannot be written");
    }
    return detail[0] == 0;
}

float perpend_port_nearest_rate(uint8_t stream, float wanted_hz)
{
    (void)stream;
    return wanted_hz < MIN_RATE_HZ ? MIN_RATE_HZ : wanted_hz > MAX_RATE_HZ ? MAX_RATE_HZ : wanted_hz;
}

bool perpend_port_begin(uint8_t stream, float rate_hz)
{
    const double now_us = simulated_us();
    if (stream == 0) {
        scene_from_us = now_us;
    }
    sampling[stream].begun_us = now_us;
    sampling[stream].rate_hz = rate_hz;
    sampling[stream].ended_us = HUGE_VAL;
    sampling[stream].taken = 0;
    return true;
}

void perpend_port_end(uint8_t stream) { sampling[stream].ended_us = simulated_us(); }

bool perpend_port_read(uint8_t stream, perpend_sample *sample)
{
    const double due_us = sampling[stream].begun_us
                          + (double)(sampling[stream].taken + 1) * 1e6 / sampling[stream].rate_hz;
    const double until_us = fmin(sampling[stream].ended_us, simulated_us());
    if (due_us > until_us || sampling[stream].taken == sampling[stream].limit) {
        return false;
    }
    sampling[stream].taken++;
    sample->taken_us = tick_of(due_us);
    const double scene_s = (due_us - scene_from_us) * 1e-6;
    if (stream == 0) {
        scene_bridge(scene_s, sample->counts);
    } else {
        scene_imu(scene_s, sample->counts);
    }
    return true;
}

size_t perpend_port_write(const uint8_t *bytes, size_t size)
{
    const ssize_t taken = write(line, bytes, size);
    return taken > 0 ? (size_t)taken : 0; /* full: EAGAIN */
}

/* ---- the process ---- */

static void on_signal(int number)
{
    (void)number;
    ended = 1;
}

/* Returns the near end, which stays open here: without it, the line would be gone whenever no
 * host has it open. */
static int open_terminal(void)
{
    line = posix_openpt(O_RDWR | O_NOCTTY);
    if (line < 0 || grantpt(line) != 0 || unlockpt(line) != 0) {
        return -1;
    }
    const int near = open(ptsname(line), O_RDWR | O_NOCTTY);
    struct termios raw;
    if (near < 0 || tcgetattr(near, &raw) != 0 || fcntl(line, F_SETFL, O_NONBLOCK) != 0) {
        return -1;
    }
    raw.c_iflag &= (tcflag_t) ~(BRKINT | ICRNL | IGNBRK | IGNCR | INLCR | INPCK | ISTRIP | IXON);
    raw.c_oflag &= (tcflag_t)~OPOST;
    raw.c_lflag &= (tcflag_t) ~(ECHO | ECHONL | ICANON | IEXTEN | ISIG);
    raw.c_cflag |= CS8;
    return tcsetattr(near, TCSANOW, &raw) == 0 ? near : -1;
}

static bool read_options(int count, char **words)
{
    int i = 1;
    sampling[0].limit = sampling[1].limit = UINT64_MAX;
    for (; i + 1 < count; i += 2) {
        char *end = words[i + 1];
        if (strcmp(words[i], "--samples") == 0) {
            sampling[0].limit = strtoull(words[i + 1], &end, 10);
        } else if (strcmp(words[i], "--speed") == 0) {
            speed = strtod(words[i + 1], &end);
        } else if (strcmp(words[i], "--tick") == 0) {
            first_tick = (uint32_t)strtoull(words[i + 1], &end, 10);
        } else if (strcmp(words[i], "--store") == 0) {
            store_path = words[i + 1];
            end += strlen(end);
        }
        if (end == words[i + 1] || *end != 0) {
            return false;
        }
    }
    return i == count && speed > 0.0 && speed <= 100.0;
}

static void run(void)
{
    uint8_t bytes[256];
    struct pollfd wait = {.fd = line, .events = POLLIN};
    while (!ended) {
        if (poll(&wait, 1, WAIT_MS) > 0) {
            const ssize_t size = read(line, bytes, sizeof bytes);
            perpend_rig_receive(&rig, bytes, size > 0 ? (size_t)size : 0);
        }
        perpend_rig_poll(&rig);
    }
}

int main(int count, char **words)
{
    if (!read_options(count, words)) {
        fprintf(stderr, "usage: %s [--speed 0..100] [--tick FIRST] [--store FILE] "
                        "[--samples OF_FORCE]\n", words[0]);
        return 2;
    }
    const char *const trouble = store_open(store_path);
    if (trouble != NULL) {
        fprintf(stderr, "%s: %s\n", store_path, trouble);
        return 1;
    }
    const int near = open_terminal();
    if (near < 0) {
        perror("no pseudo-terminal");
        return 1;
    }
    struct sigaction end = {.sa_handler = on_signal};
    sigaction(SIGTERM, &end, NULL);
    sigaction(SIGINT, &end, NULL);
    clock_gettime(CLOCK_MONOTONIC, &switched_on);
    if (!perpend_rig_power_up(&rig)) {
        fprintf(stderr, "the description of this rig is not good: %s\n", rig.unfit);
        return 1;
    }
    printf("%s\n", ptsname(line));
    printf("push azimuth_deg=%g superior_deg=%g force_n=%g top_deg=%g period_s=%g\n",
           SCENE_AZIMUTH_DEG, SCENE_SUPERIOR_DEG, SCENE_PUSH_N, SCENE_TOP_DEG, SCENE_PERIOD_S);
    fflush(stdout);
    run();
    close(near);
    close(line);
    return 0;
}

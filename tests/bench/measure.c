/* measure.c - runs a command and prints its wall seconds, cpu seconds (user and system) and peak memory in KiB. */
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static double now(void)
{
    struct timespec time;

    clock_gettime(CLOCK_MONOTONIC, &time);
    return (double)time.tv_sec + (double)time.tv_nsec / 1e9;
}

static double seconds(struct timeval time)
{
    return (double)time.tv_sec + (double)time.tv_usec / 1e6;
}

int main(int count, char **words)
{
    struct rusage used;
    int status;

    if (count < 2)
        return 2;
    double start = now();
    pid_t child = fork();
    if (child == 0) {
        execv(words[1], words + 1);
        _exit(127);
    }
    if (child < 0 || wait4(child, &status, 0, &used) != child || !WIFEXITED(status) || WEXITSTATUS(status) > 1) {
        fprintf(stderr, "%s did not end well\n", words[1]);
        return 2;
    }
    printf("%.4f %.4f %ld\n", now() - start, seconds(used.ru_utime) + seconds(used.ru_stime), used.ru_maxrss);
    return 0;
}

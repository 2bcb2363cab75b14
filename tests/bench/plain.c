/* The plain loop that copytime is held against: the same requests, with nothing around them.
 *
 * plain write|read PATH BYTES BLOCK THREADS [stamps]
 *
 * Prints wall seconds and processor seconds. Writing ends with fsync of the file. Memory is prepared before the clock.
 * With 'stamps' a line for each block follows: the seconds after which it had been moved, in the order they were.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <time.h>
#include <unistd.h>

static int file, writing;
static size_t block;
static uint64_t bytes, next;
static double begun, *stamps;
static size_t stamped;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static pthread_barrier_t gate;

static char *room(size_t size)
{
    size_t huge = 2u << 20;
    char *raw = mmap(NULL, size + huge, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (raw == MAP_FAILED) { perror("mmap"); exit(1); }
    madvise(raw, size + huge, MADV_HUGEPAGE);
    char *made = (char *)(((uintptr_t)raw + huge - 1) & ~(uintptr_t)(huge - 1));
    uint64_t x = 88172645463325252ull;
    for (size_t i = 0; i < size / 8; i++) {  /* noise, so that nothing below compresses it */
        x ^= x << 13; x ^= x >> 7; x ^= x << 17;
        ((uint64_t *)made)[i] = x;
    }
    return made;
}

static double seconds(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return now.tv_sec + now.tv_nsec / 1e9;
}

/* The payload as copytime makes it: a pool of noise, each 4 KiB of a block stamped before it is written, so that memory
 * is met as cold as it is there. Slots are used in turn; more slots than threads, so that none is written to in flight. */
static char *pool;
static size_t slots;

static void *work(void *unused)
{
    (void)unused;
    char *own = pool;
    if (!writing) own = room(block);
    pthread_barrier_wait(&gate);
    for (;;) {
        pthread_mutex_lock(&lock);
        uint64_t at = next;
        next += block;
        pthread_mutex_unlock(&lock);
        if (at >= bytes) break;
        size_t want = bytes - at < block ? bytes - at : block, done = 0;
        char *buffer = own;
        if (writing) {
            buffer = pool + (at / block) % slots * block;
            for (size_t cell = 0; cell < want; cell += 4096) {
                uint64_t *stamp = (uint64_t *)(buffer + cell);
                stamp[0] = 1; stamp[1] = 2; stamp[2] = (at + cell) / 4096; stamp[3] = stamp[2] * 0x9E3779B97F4A7C15ull;
            }
        }
        while (done < want) {
            ssize_t n = writing ? pwrite(file, buffer + done, want - done, at + done)
                                : pread(file, buffer + done, want - done, at + done);
            if (n <= 0) { perror(writing ? "pwrite" : "pread"); exit(1); }
            done += n;
        }
        if (stamps) {
            pthread_mutex_lock(&lock);
            stamps[stamped++] = seconds(CLOCK_MONOTONIC) - begun;
            pthread_mutex_unlock(&lock);
        }
    }
    return NULL;
}

int main(int argc, char **argv)
{
    if (argc != 6 && argc != 7) { fprintf(stderr, "plain write|read PATH BYTES BLOCK THREADS [stamps]\n"); return 2; }
    writing = strcmp(argv[1], "write") == 0;
    bytes = strtoull(argv[3], NULL, 10);
    block = strtoull(argv[4], NULL, 10);
    int threads = atoi(argv[5]);
    file = open(argv[2], (writing ? O_WRONLY | O_CREAT | O_TRUNC : O_RDONLY) | O_DIRECT, 0600);
    if (file < 0) { perror(argv[2]); return 1; }
    slots = (32u << 20) / block > (size_t)threads ? (32u << 20) / block : (size_t)threads + 1;
    if (writing) pool = room(slots * block);
    if (argc == 7) stamps = calloc(bytes / block + 1, sizeof *stamps);
    pthread_barrier_init(&gate, NULL, threads + 1);
    pthread_t crew[64];
    for (int i = 0; i < threads && i < 64; i++) pthread_create(&crew[i], NULL, work, NULL);
    begun = seconds(CLOCK_MONOTONIC);
    pthread_barrier_wait(&gate);
    double cpu = seconds(CLOCK_PROCESS_CPUTIME_ID);
    for (int i = 0; i < threads && i < 64; i++) pthread_join(crew[i], NULL);
    if (writing && fsync(file)) { perror("fsync"); return 1; }
    printf("%.9f %.9f\n", seconds(CLOCK_MONOTONIC) - begun, seconds(CLOCK_PROCESS_CPUTIME_ID) - cpu);
    for (size_t i = 0; i < stamped; i++) printf("%.9f\n", stamps[i]);
    return 0;
}

/* The plain loop that small files are held against: the same files, with nothing around them.
 *
 * plain_small write|read FOLDER LIST THREADS
 *
 * LIST holds a line for each file, in the order in which it is to be handled: its number and its size. Files lie 250 to a
 * folder. Writing makes the folders and ends with syncfs. Prints wall seconds and processor seconds. Memory is prepared and
 * FOLDER made before the clock.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

enum { FOLDER_FILES = 250, ROOM = 2 << 20, MOST = 1 << 20 };

static int writing, home, count;
static int number[MOST], size[MOST];
static atomic_int next;
static int folder[MOST / FOLDER_FILES + 1], folders;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static pthread_barrier_t gate;

static void fail(const char *what) { perror(what); exit(1); }

static double seconds(clockid_t clock)
{
    struct timespec now;
    clock_gettime(clock, &now);
    return now.tv_sec + now.tv_nsec / 1e9;
}

static int open_folder(int at)
{
    char name[16];
    snprintf(name, sizeof name, "d%04d", at);
    if (writing && mkdirat(home, name, 0700) && errno != EEXIST) fail(name);
    int made = openat(home, name, O_RDONLY | O_DIRECTORY);
    if (made < 0) fail(name);
    return made;
}

static int folder_of(int at)
{
    if (at >= __atomic_load_n(&folders, __ATOMIC_ACQUIRE)) {
        pthread_mutex_lock(&lock);
        while (folders <= at) {
            folder[folders] = open_folder(folders);
            __atomic_store_n(&folders, folders + 1, __ATOMIC_RELEASE);
        }
        pthread_mutex_unlock(&lock);
    }
    return folder[at];
}

static void *work(void *unused)
{
    (void)unused;
    char *own = malloc(ROOM), name[16];
    if (!own) fail("malloc");
    uint64_t x = 88172645463325252ull;
    for (int i = 0; i < ROOM / 8; i++) {
        x ^= x << 13; x ^= x >> 7; x ^= x << 17;
        ((uint64_t *)own)[i] = x;
    }
    pthread_barrier_wait(&gate);
    for (int turn; (turn = atomic_fetch_add(&next, 1)) < count;) {
        int which = number[turn], want = size[turn], done = 0;
        char *from = writing ? own + which * 29 % 64 * 4096 : own;  /* each file begins elsewhere, as copytime's do */
        snprintf(name, sizeof name, "f%06d.bin", which);
        if (writing)
            for (int cell = 0; cell < want; cell += 4096) {
                uint64_t *stamp = (uint64_t *)(from + cell);
                stamp[0] = 1; stamp[1] = which; stamp[2] = cell / 4096; stamp[3] = stamp[2] * 0x9E3779B97F4A7C15ull;
            }
        int file = openat(folder_of(which / FOLDER_FILES), name, writing ? O_WRONLY | O_CREAT | O_EXCL : O_RDONLY, 0600);
        if (file < 0) fail(name);
        while (done < want) {
            ssize_t n = writing ? write(file, from + done, want - done) : read(file, from + done, want - done);
            if (n <= 0) fail(name);
            done += n;
        }
        if (close(file)) fail(name);
    }
    return NULL;
}

int main(int argc, char **argv)
{
    if (argc != 5) { fprintf(stderr, "plain_small write|read FOLDER LIST THREADS\n"); return 2; }
    writing = strcmp(argv[1], "write") == 0;
    FILE *list = fopen(argv[3], "r");
    if (!list) fail(argv[3]);
    while (count < MOST && fscanf(list, "%d %d", &number[count], &size[count]) == 2) count++;
    home = open(argv[2], O_RDONLY | O_DIRECTORY);
    if (home < 0) fail(argv[2]);
    int threads = atoi(argv[4]);
    pthread_t crew[64];
    pthread_barrier_init(&gate, NULL, threads + 1);
    for (int i = 0; i < threads && i < 64; i++) pthread_create(&crew[i], NULL, work, NULL);
    pthread_barrier_wait(&gate);
    double wall = seconds(CLOCK_MONOTONIC), cpu = seconds(CLOCK_PROCESS_CPUTIME_ID);
    for (int i = 0; i < threads && i < 64; i++) pthread_join(crew[i], NULL);
    if (writing && syncfs(home)) fail("syncfs");
    printf("%.9f %.9f\n", seconds(CLOCK_MONOTONIC) - wall, seconds(CLOCK_PROCESS_CPUTIME_ID) - cpu);
    return 0;
}

/* Whole files, their hash, and memory that ends the process when there is none. */
#include "support/cmocka_setup.h"

#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/text.h"

static char path[] = "/tmp/perdure-test-file-XXXXXX";

static int makes_the_file(void **state)
{
    (void)state;
    int file = mkstemp(path);
    return file < 0 ? -1 : close(file);
}

static int removes_the_file(void **state)
{
    (void)state;
    return unlink(path);
}

static void write_file(const char *bytes, size_t length)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

static void reads_a_whole_file(void **state)
{
    (void)state;
    size_t size = 300001, length = 0; /* several chunks and a bit */
    char *bytes = xmalloc(size), *back;
    for (size_t i = 0; i < size; i++)
        bytes[i] = (char)(i * 7 % 256);
    write_file(bytes, size);
    assert_int_equal(file_read(path, size, &back, &length, NULL), 0);
    assert_int_equal(length, size);
    assert_memory_equal(back, bytes, size);
    assert_int_equal(back[size], '\0');
    free(back);
    free(bytes);
}

static void reads_an_empty_file(void **state)
{
    (void)state;
    size_t length = 77;
    char *back;
    write_file("", 0);
    assert_int_equal(file_read(path, 0, &back, &length, NULL), 0);
    assert_int_equal(length, 0);
    assert_string_equal(back, "");
    free(back);
    assert_int_equal(file_read(path, 0, &back, NULL, NULL), 0);
    free(back);
}

static void assert_refused(const char *name, size_t limit, const char *why)
{
    struct error error;
    size_t length = 77;
    char *back = path;
    assert_int_equal(file_read(name, limit, &back, &length, &error), ERROR_USAGE);
    assert_null(back);
    assert_string_equal(error.what, name);
    assert_non_null(strstr(error.why, why));
    assert_true(error.todo[0] != '\0');
}

static void refuses_what_it_cannot_read(void **state)
{
    (void)state;
    write_file("12345678", 8);
    assert_refused(path, 7, "larger than the 7 bytes");
    assert_refused("/dev/zero", 100000, "larger than the 100000 bytes"); /* an endless file too */
    assert_refused("/tmp", 7, "folder");
    assert_refused("/no/such/file", 7, "No such file");
    assert_refused("/proc/self/mem", 7, "cannot be read");
}

/* Outside check. Source: the example values that NIST publishes for SHA-256 of FIPS 180-4 ("abc",
 * and the 448-bit message), the value of the empty message, and the million letters "a" of the
 * older FIPS 180-2; all from memory. */
static void hashes_by_fips_180_4(void **state)
{
    (void)state;
    char hex[SHA256_HEX];
    sha256_hex("abc", 3, hex);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    sha256_hex("", 0, hex);
    assert_string_equal(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    static const char two_blocks[] = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    sha256_hex(two_blocks, sizeof two_blocks - 1, hex);
    assert_string_equal(hex, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    char *letters = xmalloc(1000000);
    memset(letters, 'a', 1000000);
    sha256_hex(letters, 1000000, hex);
    assert_string_equal(hex, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(letters);
}

static void memory_holds_what_was_asked(void **state)
{
    (void)state;
    char *copy = xstrdup("KES-07");
    assert_string_equal(copy, "KES-07");
    copy = xrealloc(copy, 1000);
    assert_string_equal(copy, "KES-07");
    free(copy);
    unsigned char *zeros = xcalloc(100, 10);
    for (int i = 0; i < 1000; i++)
        assert_int_equal(zeros[i], 0);
    free(zeros);
    void *nothing[] = {xmalloc(0), xcalloc(0, 8), xrealloc(NULL, 0)};
    for (int i = 0; i < 3; i++) {
        assert_non_null(nothing[i]);
        free(nothing[i]);
    }
}

static void asks_too_much(int how)
{
    volatile size_t all = SIZE_MAX / 2; /* volatile: or the compiler sees it and warns */
    struct rlimit no_core = {0, 0};
    setrlimit(RLIMIT_CORE, &no_core);
    if (freopen("/dev/null", "w", stderr) == NULL)
        _exit(1);
    if (how == 0)
        xmalloc(all);
    else if (how == 1)
        xcalloc(all, 4);
    else
        xrealloc(NULL, all);
    _exit(0);
}

/* In a child; AddressSanitizer ends it its own way, so the test only asks that it ended. */
static void no_memory_ends_the_process(void **state)
{
    (void)state;
    for (int how = 0; how < 3; how++) {
        int status = 0;
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0)
            asks_too_much(how);
        assert_int_equal(waitpid(child, &status, 0), child);
        assert_true(WIFSIGNALED(status) || WEXITSTATUS(status) != 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reads_a_whole_file),          cmocka_unit_test(reads_an_empty_file),
        cmocka_unit_test(refuses_what_it_cannot_read), cmocka_unit_test(hashes_by_fips_180_4),
        cmocka_unit_test(memory_holds_what_was_asked), cmocka_unit_test(no_memory_ends_the_process),
    };
    return cmocka_run_group_tests(tests, makes_the_file, removes_the_file);
}

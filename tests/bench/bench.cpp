// Times the check beside a reference chain, in one run on one machine, and prints ratios. No assertion is timed.
//
//   bench FOLDER PROGRAM [--seconds S] [--rounds N] [--hours H]
//
// FOLDER is where the corpora are made (about 2 GB at the full length); PROGRAM is the built sendworthy.
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>
#include <fcntl.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include <ebur128.h>
#include <sndfile.h>

#include "audio/memory_source.h"
#include "corpus.h"
#include "measure/meter.h"
#include "measure/pass.h"

namespace {

namespace fs = std::filesystem;
using Paths = std::vector<std::string>;

double now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

struct Run {
  double seconds = 0;
  long peak_kib = 0;
};

// Runs a program to its end; its output is thrown away. Throws if it does not exit as expected.
Run run(const std::vector<std::string>& command, int highest_exit = 0) {
  std::vector<char*> argv;
  for (const auto& word : command) argv.push_back(const_cast<char*>(word.c_str()));
  argv.push_back(nullptr);
  const double begin = now();
  const pid_t child = fork();
  if (child == 0) {
    const int nowhere = open("/dev/null", O_RDWR);
    dup2(nowhere, 0), dup2(nowhere, 1), dup2(nowhere, 2);
    execvp(argv[0], argv.data());
    _exit(127);
  }
  int status = 0;
  rusage usage{};
  if (child < 0 || wait4(child, &status, 0, &usage) < 0) throw std::runtime_error("cannot start " + command[0]);
  if (!WIFEXITED(status) || WEXITSTATUS(status) > highest_exit) throw std::runtime_error(command[0] + " failed");
  return {now() - begin, usage.ru_maxrss};
}

template <class F>
double median(int rounds, F f) {
  std::vector<double> times;
  for (int i = 0; i < rounds; ++i) times.push_back(f());
  std::sort(times.begin(), times.end());
  return times[times.size() / 2];
}

double decode_only(const Paths& paths) {
  const double begin = now();
  std::vector<int> block(2 * 8192);
  for (const auto& path : paths) {
    SF_INFO info{};
    SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
    if (file == nullptr) throw std::runtime_error("cannot read " + path);
    sf_count_t frames = 0, got = 0;
    while ((got = sf_readf_int(file, block.data(), 8192)) > 0) frames += got;
    sf_close(file);
    if (frames != info.frames) throw std::runtime_error("short read of " + path);
  }
  return now() - begin;
}

double second_meter(const Paths& paths) {
  const double begin = now();
  std::vector<int> block(2 * 8192);
  for (const auto& path : paths) {
    SF_INFO info{};
    SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
    ebur128_state* meter = ebur128_init(2, static_cast<unsigned long>(info.samplerate),
                                        EBUR128_MODE_I | EBUR128_MODE_LRA | EBUR128_MODE_TRUE_PEAK);
    sf_count_t got = 0;
    while ((got = sf_readf_int(file, block.data(), 8192)) > 0)
      ebur128_add_frames_int(meter, block.data(), static_cast<std::size_t>(got));
    double loudness = 0;
    ebur128_loudness_global(meter, &loudness);
    if (!(loudness > -70 && loudness < 0)) throw std::runtime_error("implausible loudness in " + path);
    ebur128_destroy(&meter);
    sf_close(file);
  }
  return now() - begin;
}

double reference_chain(const Paths& paths) {
  double seconds = 0;
  for (const auto& path : paths) {
    seconds += run({"ffmpeg", "-nostdin", "-threads", "1", "-filter_threads", "1", "-i", path, "-af",
                    "ebur128=peak=true,astats,aphasemeter=video=0", "-f", "null", "-"}).seconds;
  }
  return seconds;
}

enum class Cache { off, on };

Run check(const std::string& program, const Paths& paths, int jobs, const char* format = "json", Cache cache = Cache::off) {
  std::vector<std::string> command{program, "check", "--rules", "premaster", "--jobs", std::to_string(jobs), "--format",
                                   format,    "--no-progress"};
  if (cache == Cache::off) command.emplace_back("--no-cache");
  command.insert(command.end(), paths.begin(), paths.end());
  return run(command, 1);
}

// Peak to loudness ratio of a file, by the second meter, so that the corpus is what it says.
double peak_to_loudness(const std::string& path) {
  SF_INFO info{};
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
  ebur128_state* meter = ebur128_init(2, static_cast<unsigned long>(info.samplerate), EBUR128_MODE_I | EBUR128_MODE_TRUE_PEAK);
  std::vector<int> block(2 * 8192);
  sf_count_t got = 0;
  while ((got = sf_readf_int(file, block.data(), 8192)) > 0)
    ebur128_add_frames_int(meter, block.data(), static_cast<std::size_t>(got));
  double loudness = 0, left = 0, right = 0;
  ebur128_loudness_global(meter, &loudness);
  ebur128_true_peak(meter, 0, &left), ebur128_true_peak(meter, 1, &right);
  ebur128_destroy(&meter);
  sf_close(file);
  return 20 * std::log10(std::max(left, right)) - loudness;
}

void compare(const char* name, const std::string& program, const Paths& paths, double audio_s, int rounds) {
  const int cores = static_cast<int>(std::max(1L, sysconf(_SC_NPROCESSORS_ONLN)));
  decode_only(paths);  // into the page cache
  const double decode = median(rounds, [&] { return decode_only(paths); });
  const double ours = median(rounds, [&] { return check(program, paths, 1).seconds; });
  const double ours_all = median(rounds, [&] { return check(program, paths, cores).seconds; });
  const double second = median(1, [&] { return second_meter(paths); });
  const double chain = median(1, [&] { return reference_chain(paths); });
  std::printf("%s: %zu file(s), %.0f s of audio\n", name, paths.size(), audio_s);
  std::printf("  bare decoding, libsndfile                        %7.2f s\n", decode);
  std::printf("  libebur128: loudness, range, true peak           %7.2f s\n", second);
  std::printf("  FFmpeg: ebur128=peak=true,astats,aphasemeter     %7.2f s\n", chain);
  std::printf("  sendworthy check, 1 thread                       %7.2f s  %6.0f x real time\n", ours, audio_s / ours);
  std::printf("  sendworthy check, %d threads                      %7.2f s\n", cores, ours_all);
  std::printf("  ratios: FFmpeg chain / check %.1f; libebur128 / check %.1f; 1 thread / %d threads %.2f\n\n", chain / ours,
              second / ours, cores, ours / ours_all);
  std::fflush(stdout);
}

// Files that were measured before, beside reading their bytes.
void unchanged(const char* name, const fs::path& folder, const std::string& program, const Paths& paths, int rounds) {
  const auto cache = (fs::absolute(folder) / "cache").string();
  setenv("XDG_CACHE_HOME", cache.c_str(), 1);
  const int cores = static_cast<int>(std::max(1L, sysconf(_SC_NPROCESSORS_ONLN)));
  const auto with = [&](const char* reader) {
    Paths command{reader};
    command.insert(command.end(), paths.begin(), paths.end());
    return median(rounds, [&] { return run(command).seconds; });
  };
  std::uintmax_t bytes = 0;
  for (const auto& path : paths) bytes += fs::file_size(path);
  with("cat");  // into the page cache
  const double read = with("cat"), digest = with("sha256sum");
  const double without = median(rounds, [&] { return check(program, paths, 1).seconds; });
  const double cold = median(rounds, [&] {
    fs::remove_all(cache);
    return check(program, paths, 1, "json", Cache::on).seconds;
  });
  const double warm = median(rounds, [&] { return check(program, paths, 1, "json", Cache::on).seconds; });
  const double warm_all = median(rounds, [&] { return check(program, paths, cores, "json", Cache::on).seconds; });
  std::uintmax_t held = 0;
  for (const auto& entry : fs::recursive_directory_iterator(cache)) held += entry.is_regular_file() ? entry.file_size() : 0;
  fs::remove_all(cache);
  std::printf("%s: %zu unchanged file(s), %.0f MB; %.1f KB kept of each\n", name, paths.size(), 1e-6 * static_cast<double>(bytes),
              1e-3 * static_cast<double>(held) / static_cast<double>(paths.size()));
  std::printf("  cat %.2f s, sha256sum %.2f s\n", read, digest);
  std::printf("  check, 1 thread: without a cache %.2f s, the first time %.2f s, again %.2f s; again with %d threads %.2f s\n", without,
              cold, warm, cores, warm_all);
  std::printf("  ratios: again / cat %.2f; again / sha256sum %.2f; first time / without %.3f; without / again %.1f\n\n", warm / read,
              warm / digest, cold / without, without / warm);
  std::fflush(stdout);
}

// What the pictures cost beyond the check.
void page(const std::string& program, const Paths& one, double audio_s, int rounds) {
  check(program, one, 1);
  std::printf("a page with pictures of %.0f s\n", audio_s);
  for (const int jobs : {1, 2}) {
    const double plain = median(rounds, [&] { return check(program, one, jobs).seconds; });
    const double drawn = median(rounds, [&] { return check(program, one, jobs, "html").seconds; });
    std::printf("  %d thread%s  check %.3f s, page %.3f s: %.3f s more; ratio page / check %.2f\n", jobs,
                jobs == 1 ? " " : "s", plain, drawn, drawn - plain, drawn / plain);
  }
  std::printf("\n");
}

// A delivery of 20 files, all there is to it: five versions, one of them a clean edit, and fifteen stems that add up.
void delivery(const fs::path& folder, const std::string& program, double length_s, int rounds) {
  constexpr int kStems = 15, kVoices = 3;
  fs::create_directories(folder);
  const auto in = [&](const std::string& name) { return (folder / name).string(); };
  Paths stems, band, voices, backing;
  for (int i = 0; i < kStems; ++i) {
    bench::write_song(in("one.wav"), length_s, static_cast<std::uint32_t>(200 + i), bench::Style::dynamic);
    stems.push_back(in(i + 1 < kStems ? "stem " + std::to_string(10 + i) + ".wav" : "lead vocal.wav"));
    bench::write_sum({in("one.wav")}, stems.back(), 0.08);
    (i < kStems - kVoices ? band : voices).push_back(stems.back());
  }
  fs::remove(in("one.wav"));
  bench::write_sum(stems, in("main.wav"), 1);
  bench::write_sum(band, in("instrumental.wav"), 1);
  bench::write_sum(voices, in("a cappella.wav"), 1);
  auto without_lead = stems;
  without_lead.pop_back();
  bench::write_sum(without_lead, in("tv mix.wav"), 1);
  bench::write_sum(stems, in("clean edit.wav"), 1, length_s / 2);
  if (FILE* order = std::fopen(in("order.toml").c_str(), "w")) {
    std::fputs("[order]\ntitle = \"Bench\"\nartist = \"Bench\"\nrules = \"premaster\"\n", order);
    for (const auto* version : {"main", "instrumental", "a cappella", "tv mix", "clean edit"})
      std::fprintf(order, "[[item]]\nversion = \"%s\"\nfile = \"%s.wav\"\n", version, version);
    std::fputs("[[item]]\nversion = \"stem\"\nrole = \"lead vocal\"\nrules = \"premaster\"\nfile = \"lead vocal.wav\"\n", order);
    std::fputs("[[item]]\nversion = \"stem\"\nrules = \"premaster\"\nfile = \"stem ??.wav\"\n", order);
    std::fclose(order);
  }
  Paths files = stems;
  for (const auto* version : {"main", "instrumental", "a cappella", "tv mix", "clean edit"}) files.push_back(in(std::string(version) + ".wav"));
  std::vector<std::string> check{program, "check", "--rules", "premaster", "--no-cache", "--quiet"};
  check.insert(check.end(), files.begin(), files.end());
  const double single = median(rounds, [&] { return run(check, 1).seconds; });
  const double set = median(rounds, [&] { return run({program, "deliver", "check", "--no-cache", "--quiet", in("order.toml")}, 1).seconds; });
  std::printf("a delivery of %zu files of %.0f s\n", files.size(), length_s);
  std::printf("  check of its files %.2f s, deliver check %.2f s; ratio deliver check / check %.2f\n\n", single, set, set / single);
  fs::remove_all(folder);
}

double pass_seconds(const std::string& path, const std::vector<std::string>& only, int rounds) {
  return median(rounds, [&] {
    auto file = sendworthy::audio::open_file(path);
    if (!file) throw std::runtime_error(file.error().text);
    sendworthy::measure::Crew crew(1);
    const double begin = now();
    crew.run(1, [&](std::size_t) {
      sendworthy::measure::PassOptions options;
      options.only = only;
      if (!sendworthy::measure::run_pass(*file, options, crew)) throw std::runtime_error("nothing decoded");
    });
    return now() - begin;
  });
}

// What each meter adds to decoding and the digest, on one thread.
void costs(const std::string& path, double audio_s, int rounds) {
  const double bare = pass_seconds(path, {"container"}, rounds), whole = pass_seconds(path, {}, rounds);
  std::printf("cost by meter, %.0f s on one thread: decoding, digest and header %.1f ms, all together %.1f ms\n", audio_s, 1e3 * bare,
              1e3 * whole);
  // Several meters build on the sums of these two.
  const std::vector<std::string> basis{"integrated_loudness", "rms_level"};
  const double two = pass_seconds(path, basis, rounds);
  std::vector<std::pair<double, std::string>> rows;
  for (const auto& module : sendworthy::measure::modules()) {
    if (module.create == nullptr) continue;
    std::string ids;
    for (std::size_t i = 0; i < std::min<std::size_t>(3, module.entries.size()); ++i)
      ids += (i == 0 ? "" : ", ") + std::string(module.entries[i].id);
    if (module.entries.size() > 3) ids += " ...";
    const bool is_basis = std::ranges::any_of(module.entries, [&](const auto& entry) {
      return std::ranges::find(basis, entry.id) != basis.end();
    });
    auto only = is_basis ? std::vector<std::string>{} : basis;
    only.emplace_back(module.entries[0].id);
    rows.emplace_back(pass_seconds(path, only, rounds) - (is_basis ? bare : two), ids);
  }
  std::sort(rows.rbegin(), rows.rend());
  for (const auto& [seconds, ids] : rows) {
    if (seconds < 0.002 * whole) continue;
    std::printf("  %6.1f ms  %4.1f %%  %s\n", 1e3 * seconds, 100 * seconds / whole, ids.c_str());
  }
  std::printf("\n");
}

// A stream without a file: how much memory does the pass itself take?
int memory_source(double hours) {
  using namespace sendworthy;
  const auto format = audio::plain_format(48000, 2, audio::SampleKind::integer, 24);
  const auto frames = static_cast<std::int64_t>(hours * 3600 * 48000);
  std::vector<std::int32_t> loop(2 * 96000);
  std::uint32_t state = 1;
  for (std::size_t n = 0; n < loop.size(); ++n) {
    state = state * 1664525u + 1013904223u;
    loop[n] = static_cast<std::int32_t>(state) / 8 & ~0xFF;
  }
  audio::OpenedFile file;
  file.facts.container = "memory";
  file.source = std::make_unique<audio::CodeSource>(format, frames, [&](std::int64_t first, std::int64_t count, std::int32_t* to) {
    for (std::int64_t n = 0; n < count; ++n) {
      const auto at = static_cast<std::size_t>((first + n) % 96000) * 2;
      to[2 * n] = loop[at], to[2 * n + 1] = loop[at + 1];
    }
  });
  measure::Crew crew(1);
  bool read = false;
  crew.run(1, [&](std::size_t) {
    const auto pass = measure::run_pass(file, {}, crew);
    read = pass.has_value() && pass->frames == frames;
  });
  return read ? 0 : 1;
}

int run_all(int argc, char** argv) {
  if (argc >= 3 && std::strcmp(argv[1], "--memory-source") == 0) return memory_source(std::atof(argv[2]));
  if (argc < 3) {
    std::fprintf(stderr, "bench FOLDER PROGRAM [--seconds S] [--rounds N] [--hours H]\n");
    return 2;
  }
  const fs::path folder = argv[1];
  const std::string program = argv[2];
  double seconds = 1240, hours = 10;
  int rounds = 3;
  for (int i = 3; i + 1 < argc; i += 2) {
    if (std::strcmp(argv[i], "--seconds") == 0) seconds = std::atof(argv[i + 1]);
    if (std::strcmp(argv[i], "--rounds") == 0) rounds = std::max(1, std::atoi(argv[i + 1]));
    if (std::strcmp(argv[i], "--hours") == 0) hours = std::atof(argv[i + 1]);
  }
  fs::create_directories(folder);
  constexpr int kSongs = 6;
  const auto corpus = [&](const char* name, bench::Style style) {
    Paths paths;
    for (int i = 0; i < kSongs; ++i) {
      paths.push_back((folder / (std::string(name) + std::to_string(i + 1) + ".wav")).string());
      bench::write_song(paths.back(), seconds / kSongs, static_cast<std::uint32_t>(i + 1), style);
    }
    return paths;
  };
  const auto dynamic = corpus("dynamic", bench::Style::dynamic);
  const auto limited = corpus("limited", bench::Style::hard_limited);
  std::printf("peak to loudness ratio: dynamic %.1f dB, hard-limited %.1f dB\n\n", peak_to_loudness(dynamic[0]),
              peak_to_loudness(limited[0]));
  compare("dynamic corpus", program, dynamic, seconds, rounds);
  compare("hard-limited corpus", program, limited, seconds, rounds);
  for (const auto& path : limited) fs::remove(path);
  unchanged("songs", folder, program, dynamic, rounds);
  Paths many;
  for (int i = 0; i < std::clamp(static_cast<int>(seconds), 10, 1000); ++i) {
    many.push_back((folder / ("short" + std::to_string(i) + ".wav")).string());
    bench::write_song(many.back(), 2, static_cast<std::uint32_t>(1000 + i), bench::Style::dynamic);
  }
  unchanged("short sounds", folder, program, many, rounds);
  for (const auto& path : many) fs::remove(path);
  const Paths one{(folder / "long.wav").string()};
  bench::write_song(one[0], 2 * seconds, 99, bench::Style::dynamic);
  compare("one long file", program, one, 2 * seconds, rounds);

  const double song_s = std::min(300.0, seconds);
  const Paths song{(folder / "song.wav").string()};
  bench::write_song(song[0], song_s, 7, bench::Style::dynamic);
  page(program, song, song_s, std::max(rounds, 5));
  costs(song[0], song_s, rounds);
  delivery(folder / "delivery", program, std::min(240.0, seconds), rounds);
  fs::remove(song[0]);

  std::printf("peak memory of the process\n");
  std::printf("  %.0f s of stereo, 48 kHz, 24-bit                   %6.1f MiB\n", 2 * seconds, check(program, one, 1).peak_kib / 1024.0);
  std::printf("  the same, both cores                            %6.1f MiB\n", check(program, one, 2).peak_kib / 1024.0);
  std::printf("  %.0f s                                             %6.1f MiB\n", seconds / kSongs,
              check(program, {dynamic[0]}, 1).peak_kib / 1024.0);
  fs::remove(one[0]);
  const Paths rf64{(folder / "long-rf64.wav").string()};
  bench::write_long_rf64(rf64[0], hours);
  const Run long_run = check(program, rf64, 1);
  std::printf("  %.1f h RF64, 8 kHz mono                          %6.1f MiB  in %.1f s\n", hours, long_run.peak_kib / 1024.0,
              long_run.seconds);
  fs::remove(rf64[0]);
  const Run memory = run({argv[0], "--memory-source", std::to_string(hours)});
  std::printf("  %.1f h from memory, 48 kHz stereo                %6.1f MiB  in %.1f s\n", hours, memory.peak_kib / 1024.0,
              memory.seconds);
  for (const auto& path : dynamic) fs::remove(path);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  try {
    return run_all(argc, argv);
  } catch (const std::exception& problem) {
    std::fprintf(stderr, "bench: %s\n", problem.what());
    return 1;
  }
}

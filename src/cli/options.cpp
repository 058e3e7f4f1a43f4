#include "cli/options.h"

#include <algorithm>
#include <array>
#include <cstdint>
#include <ctime>
#include <thread>

#include "base/files.h"
#include "cli/process.h"
#include "base/text.h"
#include "cli/signals.h"

namespace sendworthy::cli {
namespace {

constexpr std::size_t kMaxListBytes = 64u << 20;

/// Separated by NUL where there is one (find -print0), else by line ends.
Result<std::vector<std::string>> names_in(std::string_view text, const std::string& list) {
  // What some shells on Windows make of "> list.txt"; read by bytes it would be one name a letter.
  if (text.starts_with("\xFF\xFE") || text.starts_with("\xFE\xFF")) {
    return fail(ErrorCode::unrecognised, list + " is text in UTF-16; write it in UTF-8");
  }
  const char separator = text.find('\0') != std::string_view::npos ? '\0' : '\n';
  if (separator == '\n' && text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);  // a mark of Windows editors, no part of a name
  std::vector<std::string> names;
  bool all_cr = separator == '\n';
  while (!text.empty()) {
    const auto end = text.find(separator);
    const auto name = text.substr(0, end);
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
    if (name.empty()) continue;
    // Nothing need stand behind the last name.
    all_cr = all_cr && (name.back() == '\r' || end == std::string_view::npos);
    names.emplace_back(name);
  }
  // A list made on Windows ends every line in CR LF; a single such name may be meant.
  all_cr = all_cr && std::any_of(names.begin(), names.end(), [](const auto& name) { return name.back() == '\r'; });
  if (all_cr) {
    for (auto& name : names) {
      if (name.back() == '\r') name.pop_back();
    }
    names.erase(std::remove(names.begin(), names.end(), std::string()), names.end());
  }
  if (names.empty()) return fail(ErrorCode::no_audio, "no file name in " + list);
  return names;
}

}  // namespace

int report(const Error& error, std::string_view command) {
  if (error.code == ErrorCode::output && stdout_reader_left()) return exit_code_of(error.code);
  complain(to_string(error));
  if (error.code == ErrorCode::usage) {
    const std::string subject = command.empty() ? "" : std::string(command) + " ";
    write_stderr("Try \"sendworthy " + subject + "--help\".\n");
  }
  return exit_code_of(error.code);
}

int print_help(const Arguments& arguments) {
  if (const auto written = write_stdout(arguments.help()); !written) return report(written.error(), "");
  return kExitPass;
}

void FileOptions::declare(Arguments& arguments) {
  arguments.section("Which files");
  arguments.operands(operands);
  arguments.values("--files-from", "FILE|-", lists,
                   "also take file names from FILE, or from standard input: one a line, or separated by NUL");
  arguments.flag("-r,--recursive", recursive, "in a folder, take the audio files in its folders too");
}

Result<std::vector<std::string>> names_listed(const std::vector<std::string>& lists) {
  if (std::count(lists.begin(), lists.end(), "-") > 1) {
    return fail(ErrorCode::usage, "standard input can be read once only, and --files-from - stands there twice");
  }
  std::vector<std::string> all;
  for (const auto& list : lists) {
    const auto text =
        list == "-" ? os::read_stdin(kMaxListBytes, stop_flag()) : base::read_text(list, kMaxListBytes);
    if (!text) return tl::unexpected(text.error());
    auto names = names_in(*text, list == "-" ? "standard input" : "the list \"" + list + "\"");
    if (!names) return tl::unexpected(names.error());
    all.insert(all.end(), std::make_move_iterator(names->begin()), std::make_move_iterator(names->end()));
  }
  return all;
}

Result<Inputs> collect(const FileOptions& options) {
  auto operands = options.operands;
  if (!options.lists.empty()) {
    auto names = names_listed(options.lists);
    if (!names) return tl::unexpected(names.error());
    operands.insert(operands.end(), std::make_move_iterator(names->begin()), std::make_move_iterator(names->end()));
  }
  if (operands.empty()) return fail(ErrorCode::usage, "no file given");
  for (const auto& operand : operands) {
    if (operand.empty()) return fail(ErrorCode::usage, "a file name is empty");
    if (operand == "-") {
      return fail(ErrorCode::usage, "sound is read from files, not from standard input (a file called \"-\" is ./-)");
    }
  }
  return expand_inputs(operands, options.recursive ? Folders::with_subfolders : Folders::flat);
}

std::vector<std::string> everything_read(const FileOptions& options, const Inputs& inputs) {
  auto paths = inputs.files;
  paths.insert(paths.end(), options.lists.begin(), options.lists.end());
  return paths;
}

void OutputOptions::declare_format(Arguments& arguments, const std::vector<std::string_view>& formats, std::string_view more) {
  formats_ = formats;
  help_ = listed(formats) + " (default: text)" + std::string(more);
  arguments.section("Output");
  arguments.value("-f,--format", "FORMAT", format, help_);
}

void OutputOptions::declare_color(Arguments& arguments) {
  arguments.value("--color", "WHEN", color,
                  "auto, always or never (default: auto: on a terminal, unless NO_COLOR is set)");
}

void OutputOptions::declare(Arguments& arguments, const std::vector<std::string_view>& formats, std::string_view more) {
  declare_format(arguments, formats, more);
  arguments.value("-o,--output", "PATH", path, "write there instead of standard output, whole or not at all");
  declare_color(arguments);
}

void OutputOptions::declare_lines(Arguments& arguments, const std::vector<std::string_view>& formats) {
  declare_format(arguments, formats);
  declare_color(arguments);
}

void OutputOptions::declare_quiet(Arguments& arguments) {
  arguments.flag("-q,--quiet", quiet, "in text: the verdict only; no progress");
}

Result<void> OutputOptions::validate(const Arguments& arguments, const Config& config) {
  if (auto chosen = one_of("--format", format, formats_); !chosen) return tl::unexpected(chosen.error());
  if (!arguments.given("--color") && config.color) color = *config.color;
  if (auto chosen = one_of("--color", color, {"auto", "always", "never"}); !chosen) {
    return tl::unexpected(chosen.error());
  }
  if (arguments.given("--output") && path.empty()) return fail(ErrorCode::usage, "--output wants a file name");
  return {};
}

ColourWish OutputOptions::colour_wish() const {
  if (color == "always") return ColourWish::always;
  return color == "never" ? ColourWish::never : ColourWish::automatic;
}

void RunOptions::declare_jobs(Arguments& arguments) {
  arguments.section("Running");
  arguments.value("-j,--jobs", "N", jobs_text, "threads (default: one per core); the result does not depend on it");
}

void RunOptions::declare(Arguments& arguments) {
  declare_jobs(arguments);
  arguments.flag("--no-progress", no_progress, "no progress line on standard error");
}

Result<void> RunOptions::validate(const Arguments& arguments, const Config& config) {
  jobs = std::clamp(static_cast<int>(std::thread::hardware_concurrency()), 1, kMaxJobs);
  if (config.jobs) jobs = *config.jobs;
  if (!arguments.given("--jobs")) return {};
  const auto number = whole_number("--jobs", jobs_text, 1, kMaxJobs);
  if (!number) return tl::unexpected(number.error());
  jobs = *number;
  return {};
}

void CacheOptions::declare(Arguments& arguments) {
  arguments.flag("--no-cache", no_cache, "measure anew what an earlier run has measured; the sheet is the same");
}

std::unique_ptr<ReadingStore> CacheOptions::open(const Config& config) const {
  const auto folder = cache_folder();
  if (no_cache || !config.cache || folder.empty()) return nullptr;
  constexpr std::uint64_t kBytesInMb = 1'000'000;
  return open_reading_store(folder + "/readings", static_cast<std::uint64_t>(config.cache_mb) * kBytesInMb);
}

Result<FailOn> fail_on_of(std::string_view text) {
  const auto chosen = one_of("--fail-on", text, {"fail", "warn", "never"});
  if (!chosen) return tl::unexpected(chosen.error());
  if (*chosen == "warn") return FailOn::warn;
  return *chosen == "never" ? FailOn::never : FailOn::fail;
}

std::string today() {
  const std::time_t now = std::time(nullptr);
  std::tm local{};
  ::localtime_r(&now, &local);
  std::array<char, 32> text{};
  const auto size = std::strftime(text.data(), text.size(), "%Y-%m-%d", &local);
  return std::string(text.data(), size);
}

Result<std::string> day_of(std::string_view option, const std::string& text) {
  static constexpr std::array<int, 12> kDays{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
  const auto digits = [&](std::size_t from, std::size_t count) {
    int number = 0;
    for (std::size_t i = from; i < from + count; ++i) {
      if (text[i] < '0' || text[i] > '9') return -1;
      number = 10 * number + (text[i] - '0');
    }
    return number;
  };
  if (text.size() == 10 && text[4] == '-' && text[7] == '-') {
    const int year = digits(0, 4), month = digits(5, 2), day = digits(8, 2);
    const bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    if (year >= 1 && month >= 1 && month <= 12 && day >= 1 &&
        day <= kDays[static_cast<std::size_t>(month - 1)] + (month == 2 && leap ? 1 : 0)) {
      return text;
    }
  }
  return fail(ErrorCode::usage,
              std::string(option) + " wants a day as YYYY-MM-DD, found \"" + base::for_terminal(text) + "\"");
}

}  // namespace sendworthy::cli

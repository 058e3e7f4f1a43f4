// Options that several commands share: declared, validated and turned into values in one place.
#pragma once

#include <sendworthy/check.h>
#include <sendworthy/result.h>
#include <sendworthy/store.h>

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "cli/arguments.h"
#include "cli/config.h"
#include "cli/console.h"
#include "cli/exit_code.h"

namespace sendworthy::cli {

/// Prints the error the way every command does, with a pointer to --help for a wrong call; returns its exit code.
int report(const Error& error, std::string_view command);

/// Writes the help to standard output; returns the exit code.
int print_help(const Arguments& arguments);

/// Which files: operands, lists, folders.
struct FileOptions {
  std::vector<std::string> operands, lists;
  bool recursive = false;

  void declare(Arguments& arguments);
};

/// The file names in lists ("-": standard input), one a line or separated by NUL. Errors: usage for standard input twice;
/// missing, unreadable, unrecognised (UTF-16) or no_audio (no name) for a list; interrupted.
[[nodiscard]] Result<std::vector<std::string>> names_listed(const std::vector<std::string>& lists);

/// Errors: usage when nothing was named; those of names_listed.
[[nodiscard]] Result<Inputs> collect(const FileOptions& options);

/// The inputs and the lists that named them.
[[nodiscard]] std::vector<std::string> everything_read(const FileOptions& options, const Inputs& inputs);

/// How the result is shown and where it goes.
struct OutputOptions {
  std::string format = "text", path, color = "auto";
  bool quiet = false;

  /// `formats`: those this command can write; a known one that it cannot is refused with the list.
  /// `more`: what the help says besides, as where some of them hold for a part of the command only.
  void declare(Arguments& arguments, const std::vector<std::string_view>& formats, std::string_view more = {});
  /// The same for a command that writes line by line, and so to standard output only.
  void declare_lines(Arguments& arguments, const std::vector<std::string_view>& formats);
  void declare_quiet(Arguments& arguments);
  [[nodiscard]] Result<void> validate(const Arguments& arguments, const Config& config);

  [[nodiscard]] bool to_stdout() const { return path.empty() || path == "-"; }
  [[nodiscard]] ColourWish colour_wish() const;

 private:
  void declare_format(Arguments& arguments, const std::vector<std::string_view>& formats, std::string_view more = {});
  void declare_color(Arguments& arguments);

  std::vector<std::string_view> formats_;
  std::string help_;
};

/// How the work is done.
struct RunOptions {
  std::string jobs_text;
  bool no_progress = false;
  int jobs = 1;

  void declare(Arguments& arguments);
  void declare_jobs(Arguments& arguments);
  [[nodiscard]] Result<void> validate(const Arguments& arguments, const Config& config);
};

/// Whether readings of earlier runs may be used.
struct CacheOptions {
  bool no_cache = false;

  void declare(Arguments& arguments);
  /// The user's store of readings; null where it is not wanted or cannot be had, which is no reason to complain.
  [[nodiscard]] std::unique_ptr<ReadingStore> open(const Config& config) const;
};

[[nodiscard]] Result<FailOn> fail_on_of(std::string_view text);

/// Today in the local time zone, YYYY-MM-DD.
[[nodiscard]] std::string today();
/// `text` when it is a day that exists, as YYYY-MM-DD.
[[nodiscard]] Result<std::string> day_of(std::string_view option, const std::string& text);

}  // namespace sendworthy::cli

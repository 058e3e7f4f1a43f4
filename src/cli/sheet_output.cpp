#include "cli/sheet_output.h"

#include <sendworthy/catalog.h>
#include <sendworthy/listening.h>
#include <sendworthy/render.h>

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>

#include "base/files.h"
#include "base/text.h"
#include "cli/signals.h"
#include "cli/timeline_text.h"

namespace sendworthy::cli {
namespace {

constexpr std::array<std::string_view, 28> kAudioEndings{".wav",  ".wave", ".rf64", ".bw64", ".w64", ".aif",
                                                         ".aiff", ".aifc", ".caf",  ".flac", ".ogg", ".oga",
                                                         ".opus", ".mp3",  ".m4a",  ".mp4",  ".mov", ".wv",
                                                         ".bwf",  ".aac",  ".wma",  ".dsf",  ".dff", ".mka",
                                                         ".ape",  ".au",   ".snd",  ".sd2"};

std::string lower_ending(const std::string& path) {
  const auto slash = path.rfind('/');
  const auto dot = path.rfind('.');
  if (dot == std::string::npos || (slash != std::string::npos && dot < slash)) return {};
  auto ending = path.substr(dot);
  for (auto& c : ending) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  return ending;
}

/// The other file of the pair that --format markers writes.
std::string with_ending(const std::string& path, std::string_view ending) {
  return path.substr(0, path.size() - lower_ending(path).size()) + std::string(ending);
}

std::string rendered(const Sheet& sheet, const SheetOutput& wanted) {
  const auto& names = catalog();
  const auto& format = wanted.output.format;
  if (format == "json") return render_json(sheet, names);
  if (format == "jsonl") return render_jsonl(sheet, names);
  if (format == "junit") {
    return render_junit(sheet, names, wanted.fail_on == FailOn::warn ? WarnInJUnit::fails : WarnInJUnit::passes);
  }
  if (format == "csv") return wanted.timelines ? timelines_as_csv(sheet) : render_csv(sheet, names);
  if (format == "html") return render_html(sheet, names);
  if (format == "markers") return render_markers_csv(sheet, names);
  const bool to_stdout = wanted.output.to_stdout();
  TextOptions options;
  options.colour = colour_for(wanted.output.colour_wish(), to_stdout);
  options.width = to_stdout ? sheet_columns() : 80;
  options.quiet = wanted.output.quiet;
  auto text = render_text(sheet, names, options);
  if (wanted.timelines) text += timelines_as_text(sheet);
  return text;
}

/// Whether replacing the file that stands beside a named output loses nothing of the user's: it is not there, or was
/// written by this program.
bool may_replace(const std::string& path) {
  std::error_code ignored;
  if (!std::filesystem::exists(path, ignored)) return true;
  const auto text = base::read_text(path, 64u << 20);
  if (!text) return false;
  const std::string_view head = std::string_view(*text).substr(0, 64);
  return lower_ending(path) == ".mid" ? head.starts_with("MThd") && head.find("sendworthy") != head.npos
                                      : text->starts_with(render_markers_csv(Sheet{}, catalog()).substr(0, 16));
}

/// Whether a file is text, or not there, or no file (a device may be written to): whatever its name, sound is none of these.
bool holds_text(const std::string& path) {
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(path, ignored)) return true;
  if (lower_ending(path) == ".mid") return may_replace(path);
  std::ifstream file(path, std::ios::binary);
  std::string head(4096, '\0');
  file.read(head.data(), static_cast<std::streamsize>(head.size()));
  head.resize(static_cast<std::size_t>(std::max<std::streamsize>(0, file.gcount())));
  return head.find('\0') == head.npos && (head.size() == 4096 || base::clean_utf8(head) == head);
}

/// Of where a rule set comes from; else it is a word such as "shipped". The user's own end in .toml.
bool is_path(std::string_view origin) { return origin.find('/') != origin.npos; }

/// The path with its links followed, or as it is where nothing stands.
std::string target_of(const std::string& path) {
  std::error_code error;
  const auto target = std::filesystem::canonical(path, error).string();
  return error ? path : target;
}

/// Refuses to write over what may be somebody's sound, rule set or answers, whether this run reads it or not.
Result<void> may_write(std::string_view option, const std::string& path) {
  const auto refuse = [&](std::string_view why) {
    return fail(ErrorCode::usage, std::string(option) + " \"" + path + "\" " + std::string(why));
  };
  for (const auto& name : {path, target_of(path)}) {
    const auto ending = lower_ending(name);
    if (std::find(kAudioEndings.begin(), kAudioEndings.end(), ending) != kAudioEndings.end())
      return refuse("is named like audio; a sheet is never written over a sound file");
    if (ending == ".toml") return refuse("is named like a rule set; a sheet is never written over one");
    if (name.ends_with(passes_path(""))) return refuse("is named like the answers of a listening pass; a sheet is never written over them");
  }
  if (!holds_text(path))
    return refuse("stands there already and is no text; a sheet replaces only text, so give another name");
  return {};
}

}  // namespace

Result<void> spare_the_inputs(const SheetOutput& output, const std::vector<std::string>& inputs) {
  for (const auto& [option, path] :
       {std::pair{"--output", output.output.path}, std::pair{"--note", output.note_path}}) {
    if (path.empty() || path == "-") continue;
    for (const auto& input : inputs) {
      std::error_code ignored;
      if (std::filesystem::equivalent(path, input, ignored)) {
        return fail(ErrorCode::usage, std::string(option) + " \"" + path + "\" is one of the files to be read");
      }
    }
    if (const auto ok = may_write(option, path); !ok) return ok;
  }
  if (output.output.format == "markers" && !output.output.to_stdout()) {
    const auto& path = output.output.path;
    const auto companion = with_ending(path, lower_ending(path) == ".mid" ? ".csv" : ".mid");
    if (!may_replace(companion)) {
      return fail(ErrorCode::usage, "markers come as a pair, and \"" + companion +
                                        "\" stands there already and was not written by this program; give --output another name");
    }
  }
  if (!output.note_path.empty() && output.note_path == output.output.path) {
    return fail(ErrorCode::usage, "--output and --note name the same file");
  }
  return {};
}

Result<void> deliver(const std::string& path, std::string_view text) {
  // Standard output by its other names: renaming over it would replace the file that a shell appends to.
  const bool standard = path == "/dev/stdout" || path == "/dev/fd/1" || path == "/proc/self/fd/1";
  if (path.empty() || path == "-" || standard) return write_stdout(text);
  if (const auto ok = may_write("--output", path); !ok) return ok;
  return base::write_then_rename(path, text);
}

std::vector<std::string> read_for(const Sheet& sheet) {
  std::vector<std::string> paths;
  for (const auto& file : sheet.files) paths.push_back(file.path);
  for (const auto& rules : sheet.rules) {
    if (is_path(rules.origin)) paths.push_back(rules.origin);
  }
  return paths;
}

std::vector<std::string> with_rule_sets(std::vector<std::string> paths, const std::vector<RuleSet>& rule_sets) {
  for (const auto& set : rule_sets) {
    if (is_path(set.origin)) paths.push_back(set.origin);
  }
  return paths;
}

int write_sheet(const Sheet& sheet, const SheetOutput& wanted) {
  int code = exit_code_of(sheet, wanted.fail_on);
  const auto write = [&](const std::string& path, const std::string& text) {
    if (const auto written = deliver(path, text); !written) code = std::max(code, report(written.error(), ""));
  };
  auto path = wanted.output.path;
  if (wanted.output.format == "markers" && !wanted.output.to_stdout()) {
    if (lower_ending(path) == ".mid") path = with_ending(path, ".csv");
    write(with_ending(path, ".mid"), render_markers_midi(sheet, catalog()));
  }
  write(path, rendered(sheet, wanted));
  if (!wanted.note_path.empty()) write(wanted.note_path, render_note(sheet, catalog()));
  // On a terminal the text sheet has just said it.
  const bool said = wanted.output.format == "text" && wanted.output.to_stdout() && stdout_is_terminal();
  for (const auto& file : sheet.files) {
    if (file.error && !said) complain(to_string(*file.error));
  }
  return code;
}

int check_and_write(Inputs inputs, const std::vector<RuleSet>& rule_sets, const CheckOptions& options,
                    const SheetOutput& output, const RunOptions& run, ReadingStore* store) {
  Sheet sheet;
  {
    ProgressLine line(!run.no_progress && !output.output.quiet);
    CheckHooks hooks;
    hooks.progress = [&line](const Progress& progress) { line.show(progress); };
    hooks.stop = &stop_flag();
    hooks.store = store;
    sheet = check_files(inputs.files, rule_sets, options, hooks);
  }
  if (stopped()) return report({ErrorCode::interrupted, "interrupted; no sheet was written", {}}, "");
  add_without_sheet(sheet, std::move(inputs.without_sheet));
  return write_sheet(sheet, output);
}

}  // namespace sendworthy::cli

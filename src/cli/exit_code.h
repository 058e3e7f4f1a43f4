// Exit codes of the program, and the way from an error to one of them. The highest wins.
#pragma once

#include <sendworthy/sheet.h>

#include <algorithm>

namespace sendworthy::cli {

inline constexpr int kExitPass = 0;
inline constexpr int kExitFail = 1;
inline constexpr int kExitUsage = 2;
inline constexpr int kExitNoSheet = 3;
inline constexpr int kExitInterrupted = 130;

enum class FailOn { fail, warn, never };

[[nodiscard]] constexpr int exit_code_of(ErrorCode code) {
  switch (code) {
    case ErrorCode::usage:
    case ErrorCode::rules:
      return kExitUsage;
    case ErrorCode::missing:
    case ErrorCode::unreadable:
    case ErrorCode::unrecognised:
    case ErrorCode::no_audio:
    case ErrorCode::output:
      return kExitNoSheet;
    case ErrorCode::interrupted:
      return kExitInterrupted;
  }
  return kExitNoSheet;
}

/// `--fail-on never` turns a failed verdict into 0, and never hides an input without a sheet.
[[nodiscard]] inline int exit_code_of(const Sheet& sheet, FailOn fail_on) {
  int code = kExitPass;
  if (sheet.judged && fail_on != FailOn::never) {
    if (sheet.verdict == Verdict::fail) code = kExitFail;
    if (sheet.verdict == Verdict::warn && fail_on == FailOn::warn) code = kExitFail;
  }
  for (const auto& file : sheet.files) {
    if (file.error) code = std::max(code, exit_code_of(file.error->code));
  }
  return code;
}

}  // namespace sendworthy::cli

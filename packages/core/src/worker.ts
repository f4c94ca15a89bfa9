import { blendTileTask, runBlendTile } from './blend/blend-tile.js';
import { coarseTask, runCoarse } from './blend/coarse-strip.js';
import { joinCoarse, joinCoarseTask } from './blend/join-coarse.js';
import {
  calibrationFrameTask,
  calibrationRowsTask,
  runCalibrationFrame,
  runCalibrationRows,
} from './capture/calibration-task.js';
import { createTaskHandler, implement } from './compute/task.js';
import { correctFrameTask, runCorrectFrame } from './photometry/correct-frame.js';
import { fineTask, runFine } from './photometry/fine-task.js';
import {
  channelLightTask,
  jointLightTask,
  observeLight,
  observeLightTask,
  solveJointly,
} from './photometry/light-tasks.js';
import { solveLight } from './photometry/solve-light.js';
import { findIntrusions, transientTask } from './photometry/transient-task.js';
import { edgeTask, runEdge, runTurnedEdge, turnedEdgeTask } from './placement/edge.js';
import { guideTask, runGuide } from './placement/guide-place.js';
import { joinTask, runJoin } from './placement/join-field.js';
import { limbTask, runLimb } from './placement/limb-place.js';
import { gradeFrameTask, runGradeFrame } from './quality/grade-frame.js';
import { colourShiftTask, measureColourShift } from './registration/colour-shift.js';
import { detailTask, runDetail } from './registration/detail-task.js';
import { lockTask, measureTask, runLock, runMeasure } from './registration/pair-tasks.js';
import { bendTask, runBend } from './registration/seeing-task.js';
import { accumulateTask, runAccumulate } from './strip/accumulate.js';

/** The worker file: every task of the library, bound to its function. Add a task by adding a line. */
export default createTaskHandler([
  implement(calibrationFrameTask, runCalibrationFrame),
  implement(calibrationRowsTask, runCalibrationRows),
  implement(gradeFrameTask, runGradeFrame),
  implement(detailTask, runDetail),
  implement(colourShiftTask, measureColourShift),
  implement(lockTask, runLock),
  implement(measureTask, runMeasure),
  implement(bendTask, runBend),
  implement(edgeTask, runEdge),
  implement(turnedEdgeTask, runTurnedEdge),
  implement(correctFrameTask, runCorrectFrame),
  implement(joinTask, runJoin),
  implement(limbTask, runLimb),
  implement(guideTask, runGuide),
  implement(transientTask, findIntrusions),
  implement(observeLightTask, observeLight),
  implement(jointLightTask, solveJointly),
  implement(channelLightTask, solveLight),
  implement(fineTask, runFine),
  implement(accumulateTask, runAccumulate),
  implement(coarseTask, runCoarse),
  implement(joinCoarseTask, joinCoarse),
  implement(blendTileTask, runBlendTile),
]) as ReturnType<typeof createTaskHandler>;
